"""The station, kept: people, kit, bookings and what happens on the water. Django project and its apps."""

from rentals.celery import app as celery_app

__all__ = ["celery_app"]
