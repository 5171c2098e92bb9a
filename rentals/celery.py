"""The worker's front door: one Celery app for Redis and for the embedded transport alike."""

import os

from celery import Celery

from rentals.lib import folder

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "rentals.settings")

folder.register()
app = Celery("marram")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
