"""Addresses of the rig-up page, under their station."""

from django.urls import path

from rentals.dayplan import views

urlpatterns = [
    path("rig-up/", views.rig_up, name="rig-up"),
    path("rig-up/ask/", views.ask, name="plan-ask"),
    path("rig-up/plans/<int:plan_id>/accept/", views.accept, name="plan-accept"),
    path("rig-up/plans/<int:plan_id>/cancel/", views.cancel, name="plan-cancel"),
    path("rig-up/plans/<int:plan_id>/riders/<int:outing_id>/", views.adjust, name="plan-adjust"),
    path("rig-up/rigs/<int:task_id>/tick/", views.tick, name="rig-tick"),
    path("rig-up/crew/", views.crew, name="rig-crew"),
    path("rig-up/lacks/", views.lacks, name="lacks"),
    path("rig-up/lacks/<int:study_id>/cancel/", views.cancel_study, name="study-cancel"),
]
