"""Addresses of the takings, under their station."""

from django.urls import path

from rentals.takings import views

urlpatterns = [
    path("outings/<int:outing_id>/cancel/", views.cancel, name="cancel"),
    path("takings/", views.takings, name="takings"),
    path("takings/entries.csv", views.entries_csv, name="takings-csv"),
    path("takings/credits/", views.credit_list, name="credits"),
    path("takings/credits/<slug:code>/", views.credit, name="credit"),
    path("takings/storage/", views.storage, name="storage"),
    path("takings/prices/", views.prices, name="prices"),
    path("takings/parties/<int:party_id>/", views.account, name="account"),
    path("takings/parties/<int:party_id>/<slug:deed>/", views.act, name="account-act"),
    path("takings/receipts/<int:year>-<int:number>/", views.receipt, name="receipt"),
]
