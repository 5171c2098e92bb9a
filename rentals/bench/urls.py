"""Addresses of the shed and the bench, under their station."""

from django.urls import path

from rentals.bench.views import inspections, jobs, kit, labels, ready, recalls, shed

service_urlpatterns = [path("checks-ready/", ready.checks_ready, name="checks-ready")]
"""Addresses that belong to no station."""

urlpatterns = [
    path("kit/", kit.kit, name="kit"),
    path("kit/<str:tag>/", kit.item, name="item"),
    path("kit/<str:tag>/inspect/", inspections.inspect, name="inspect"),
    path("labels/", labels.labels, name="labels"),
    path("shed/", shed.shed, name="shed"),
    path("shed/export.csv", shed.export, name="shed-export"),
    path("inspections/", inspections.inspections, name="inspections"),
    path("inspections/intervals/", inspections.intervals, name="intervals"),
    path("inspections/held/<int:hold_back_id>/", inspections.release_held, name="release-held"),
    path("recalls/", recalls.recalls, name="kit-recalls"),
    path("recalls/<int:recall_id>/", recalls.recall, name="kit-recall"),
    path("recalls/<int:recall_id>/list.csv", recalls.recall_list, name="kit-recall-list"),
    path("bench/", jobs.bench, name="bench"),
    path("bench/<int:job_id>/", jobs.job, name="job"),
    path("bench/photos/<int:photo_id>/", jobs.photo, name="photo"),
    path("bench/<int:job_id>/mend/", jobs.mend, name="mend"),
    path("bench/<int:job_id>/release/", jobs.release, name="release"),
    path("outings/<int:outing_id>/return-check/", kit.take_back, name="return-check"),
]
