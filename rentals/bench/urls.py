"""Addresses of the shed and the bench, under their station."""

from django.urls import path

from rentals.bench import views

urlpatterns = [
    path("kit/", views.kit, name="kit"),
    path("kit/<str:tag>/", views.item, name="item"),
    path("bench/", views.bench, name="bench"),
    path("bench/<int:job_id>/mend/", views.mend, name="mend"),
    path("bench/<int:job_id>/release/", views.release, name="release"),
    path("outings/<int:outing_id>/return-check/", views.take_back, name="return-check"),
]
