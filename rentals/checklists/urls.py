"""Addresses of check lists, under their station."""

from django.urls import path

from rentals.checklists import views

urlpatterns = [path("check-lists/<slug:check>/", views.check_list, name="check-list")]
