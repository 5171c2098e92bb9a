"""Addresses of the desk: Today and the outing page, under their station."""

from django.urls import path

from rentals.desk import views

urlpatterns = [
    path("", views.today, name="today"),
    path("book/", views.book, name="book"),
    path("first-steps/", views.first_steps, name="first-steps"),
    path("first-steps/demo/", views.change_demo, name="change-demo"),
    path("find/", views.find, name="find"),
    path("bookings/<int:booking_id>/issue/", views.issue_party, name="issue-party"),
    path("outings/<int:outing_id>/", views.outing, name="outing"),
    path("outings/<int:outing_id>/issue/", views.issue, name="issue"),
]
