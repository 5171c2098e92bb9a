"""Addresses of lessons: calendar feeds at the root, the rest under their station."""

from django.urls import path

from rentals.lessons import views

feeds = [path("calendar/<str:token>.ics", views.feed, name="calendar")]

urlpatterns = [
    path("lessons/", views.lessons, name="lessons"),
    path("lessons/new/", views.new_course, name="new-course"),
    path("lessons/wind/", views.wind, name="lessons-wind"),
    path("lessons/courses/<int:course_id>/", views.course, name="course"),
    path("lessons/<int:lesson_id>/", views.lesson, name="lesson"),
    path("lessons/<int:lesson_id>/enrol/", views.enrol, name="enrol"),
    path("lessons/<int:lesson_id>/assign/", views.assign, name="assign"),
    path("lessons/<int:lesson_id>/crew/<int:assignment_id>/release/", views.release, name="release"),
    path("lessons/<int:lesson_id>/notices/<int:notice_id>/told/", views.told, name="told"),
    path("riders/<int:rider_id>/progress/", views.progress, name="progress"),
    path("roster/", views.roster, name="roster"),
    path("roster/shifts/<int:shift_id>/drop/", views.drop_shift, name="drop-shift"),
    path("roster/absences/<int:absence_id>/end/", views.end_absence, name="end-absence"),
    path("roster/calendars/", views.make_feed, name="make-feed"),
    path("roster/calendars/<int:feed_id>/revoke/", views.revoke_feed, name="revoke-feed"),
]
