"""Addresses on the beach, under their station."""

from django.urls import path

from rentals.afloat import views

urlpatterns = [
    path("beach/", views.beach, name="beach"),
    path("beach/<int:log_id>/no-lightning/", views.no_lightning, name="no-lightning"),
    path("afloat/", views.page, name="afloat"),
    path("afloat/count/", views.count, name="head-count"),
    path("afloat/recall/", views.recall, name="recall"),
    path("afloat/recall/lift/", views.lift_recall, name="lift-recall"),
    path("safety/", views.safety, name="safety"),
    path("watch/", views.watch_bar, name="watch-bar"),
    path("outings/<int:outing_id>/launch-check/", views.check, name="launch-check"),
    path("outings/<int:outing_id>/launch/", views.launch, name="launch"),
    path("outings/<int:outing_id>/not-out/", views.not_out, name="not-out"),
    path("outings/<int:outing_id>/still-afloat/", views.still_afloat, name="still-afloat"),
    path("outings/<int:outing_id>/afloat/", views.rider_out, name="rider-out"),
    path("outings/<int:outing_id>/seen/", views.seen, name="seen"),
    path("outings/<int:outing_id>/acknowledge/", views.acknowledge, name="acknowledge"),
    path("outings/<int:outing_id>/swap-kit/", views.swap, name="swap-kit"),
    path("outings/<int:outing_id>/ashore/", views.ashore, name="ashore"),
]
