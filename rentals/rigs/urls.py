"""Addresses of the rig card and of a lesson's spare rigs, under their station."""

from django.urls import path

from rentals.rigs import views

urlpatterns = [
    path("outings/<int:outing_id>/card/", views.card, name="card"),
    path("lessons/<int:lesson_id>/spares/", views.spares, name="spares"),
]
