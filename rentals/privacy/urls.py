"""Addresses of privacy, under their station."""

from django.urls import path

from rentals.privacy import views

urlpatterns = [
    path("privacy/", views.privacy, name="privacy"),
    path("riders/<int:rider_id>/privacy/", views.rider, name="rider-privacy"),
    path("riders/<int:rider_id>/privacy/export/", views.export, name="rider-export"),
    path("riders/<int:rider_id>/privacy/erase/", views.erase, name="rider-erase"),
]
