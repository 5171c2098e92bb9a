"""Addresses of lessons: calendar feeds at the root, the rest under their station."""

from django.urls import path

from rentals.lessons import views

feeds = [path("calendar/<str:token>.ics", views.feed, name="calendar")]
