"""A day at the station as people live it: browser, pages, worker and periodic tasks, all really running."""
