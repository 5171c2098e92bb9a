"""Addresses on the beach, under their station."""

from django.urls import path

from rentals.afloat import views

urlpatterns = [
    path("beach/", views.beach, name="beach"),
    path("outings/<int:outing_id>/launch-check/", views.check, name="launch-check"),
    path("outings/<int:outing_id>/launch/", views.launch, name="launch"),
    path("outings/<int:outing_id>/still-afloat/", views.still_afloat, name="still-afloat"),
    path("outings/<int:outing_id>/ashore/", views.ashore, name="ashore"),
]
