"""Addresses of riders' pages, under their station."""

from django.urls import path

from rentals.people import views

urlpatterns = [
    path("riders/", views.riders, name="riders"),
    path("riders/<int:rider_id>/", views.rider, name="rider"),
]
