"""Addresses of booking, under its station."""

from django.urls import path

from rentals.bookings import views

urlpatterns = [
    path("book/", views.book, name="book"),
    path("outings/<int:outing_id>/cancel/", views.cancel, name="cancel"),
]
