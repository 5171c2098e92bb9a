"""Addresses for people at home, and of the staff's page about them."""

from django.urls import path

from rentals.home import views

public = [
    path("visit/<slug:station_slug>/", views.front, name="front"),
    path("visit/<slug:station_slug>/book/", views.book, name="front-book"),
    path("visit/<slug:station_slug>/lessons/", views.lessons, name="front-lessons"),
    path("visit/<slug:station_slug>/lessons/<int:lesson_id>/", views.lesson, name="front-lesson"),
    path("visit/<slug:station_slug>/sign/<str:token>/", views.sign, name="sign"),
    path("visit/<slug:station_slug>/b/<str:token>/", views.visit, name="visit"),
    path("visit/<slug:station_slug>/b/<str:token>/move/", views.move, name="visit-move"),
    path(
        "visit/<slug:station_slug>/b/<str:token>/riders/<int:rider_id>/", views.own_rider, name="visit-rider"
    ),
    path("visit/<slug:station_slug>/b/<str:token>/leave/", views.leave, name="visit-leave"),
    path("visit/<slug:station_slug>/b/<str:token>/take/", views.take, name="visit-take"),
]

urlpatterns = [
    path("from-home/", views.from_home, name="from-home"),
    path("from-home/letters/", views.outbox, name="outbox"),
    path("riders/<int:rider_id>/hand-over/", views.hand_over, name="hand-over"),
    path("from-home/<int:guest_id>/revoke/", views.revoke, name="from-home-revoke"),
]
