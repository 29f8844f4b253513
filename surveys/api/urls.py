"""Addresses of surveys, setups and readings under ``/api/v1/``."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from surveys.api import views

router = SimpleRouter()
router.register("surveys", views.SurveyViewSet)
router.register("setups", views.SetupViewSet)
router.register("readings", views.ReadingViewSet)

urlpatterns = [
    path("surveys/<uuid:survey_id>/readings/", views.SurveyReadingsView.as_view(), name="survey-readings"),
    *router.urls,
]
