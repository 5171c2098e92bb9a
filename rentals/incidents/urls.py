"""Addresses of incidents, the distress sheet and the closing round, under their station."""

from django.urls import path

from rentals.incidents import views

urlpatterns = [
    path("incidents/", views.incidents, name="incidents"),
    path("incidents/new/", views.report, name="report-incident"),
    path("incidents/without-names.csv", views.export, name="incidents-export"),
    path("incidents/<int:incident_id>/", views.incident, name="incident"),
    path("incidents/<int:incident_id>/correct/", views.correct, name="correct-incident"),
    path("outings/<int:outing_id>/distress/", views.distress, name="distress"),
    path("closing/", views.closing, name="closing"),
]
