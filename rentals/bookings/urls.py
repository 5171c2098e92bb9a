"""Addresses of outings as they are booked, under their station."""

from django.urls import path

from rentals.bookings import views

urlpatterns = [
    path("outings/<int:outing_id>/cancel/", views.cancel, name="cancel"),
]
