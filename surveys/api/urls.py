"""Addresses of surveys, setups and readings under ``/api/v1/``."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from surveys.api import csv_views, views

router = SimpleRouter()
router.register("surveys", views.SurveyViewSet)
router.register("setups", views.SetupViewSet)
router.register("readings", views.ReadingViewSet)

urlpatterns = [
    path("surveys/<uuid:survey_id>/readings/", views.SurveyReadingsView.as_view(), name="survey-readings"),
    path("imports/<slug:kind>/", csv_views.ImportView.as_view(), name="csv-import"),
    path("exports/<slug:kind>/", csv_views.ExportView.as_view(), name="csv-export"),
    *router.urls,
]
