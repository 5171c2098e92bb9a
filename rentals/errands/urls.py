"""Addresses of errands, under their station."""

from django.urls import path

from rentals.errands import views

urlpatterns = [
    path("errands/<int:errand_id>/", views.errand, name="errand"),
    path("errands/<int:errand_id>/call-off/", views.call_off, name="errand-call-off"),
]
