"""Address of the rig card, under its station."""

from django.urls import path

from rentals.rigs import views

urlpatterns = [path("outings/<int:outing_id>/card/", views.card, name="card")]
