"""Addresses of the review, under their station."""

from django.urls import path

from rentals.review import views

urlpatterns = [
    path("review/", views.review, name="review"),
    path("review/month/", views.month_report, name="month-report"),
    path("review/csv/<slug:name>/", views.review_csv, name="review-csv"),
    path("review/lists/", views.review_lists, name="review-lists"),
    path("review/lists/csv/<slug:name>/", views.review_lists_csv, name="review-lists-csv"),
    path("life/", views.life, name="life"),
    path("life/csv/", views.life_csv, name="life-csv"),
    path("life/<int:model_id>/", views.model_life, name="model-life"),
    path("life/<int:model_id>/csv/<slug:name>/", views.model_life_csv, name="model-life-csv"),
]
