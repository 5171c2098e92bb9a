"""Addresses of the shed and the bench, under their station."""

from django.urls import path

from rentals.bench.views import inspections, jobs, kit

urlpatterns = [
    path("kit/", kit.kit, name="kit"),
    path("kit/<str:tag>/", kit.item, name="item"),
    path("kit/<str:tag>/inspect/", inspections.inspect, name="inspect"),
    path("inspections/", inspections.inspections, name="inspections"),
    path("inspections/intervals/", inspections.intervals, name="intervals"),
    path("inspections/held/<int:hold_back_id>/", inspections.release_held, name="release-held"),
    path("bench/", jobs.bench, name="bench"),
    path("bench/<int:job_id>/mend/", jobs.mend, name="mend"),
    path("bench/<int:job_id>/release/", jobs.release, name="release"),
    path("outings/<int:outing_id>/return-check/", kit.take_back, name="return-check"),
]
