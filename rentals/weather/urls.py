"""Address of the wind page, under its station."""

from django.urls import path

from rentals.weather import views

urlpatterns = [path("wind/", views.weather, name="weather")]
