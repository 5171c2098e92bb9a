"""Addresses of the wind page, under its station."""

from django.urls import path

from rentals.weather import views

urlpatterns = [
    path("wind/", views.weather, name="weather"),
    path("wind/sources/<int:source_id>/stop/", views.stop, name="stop-source"),
]
