"""Long work on somebody's behalf: asked for on a page, done by a worker, seen as it goes on, called off."""
