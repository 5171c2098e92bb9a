"""Addresses of riders, staff and the station itself, under the station."""

from django.urls import path

from rentals.people import views

service_urlpatterns = [
    path("set-up/", views.set_up, name="set-up"),
    path("units/", views.units, name="units"),
]
"""Addresses that belong to no station."""

urlpatterns = [
    path("riders/", views.riders, name="riders"),
    path("riders/<int:rider_id>/", views.rider, name="rider"),
    path("station/", views.station, name="station"),
    path("station/limits/", views.limits, name="wind-limits"),
    path("station/staff/", views.hire, name="hire"),
    path("station/staff/<int:posting_id>/end/", views.let_go, name="let-go"),
    path("riders/<int:rider_id>/medical-note/", views.medical_note, name="medical-note"),
]
