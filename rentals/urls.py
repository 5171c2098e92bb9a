"""Addresses: each app's pages under its station, the API under its version."""

from django.urls import URLPattern, URLResolver, include, path

urlpatterns: list[URLPattern | URLResolver] = [
    path("api/v1/", include("api.urls")),
]
