"""Addresses of calculations, answers and plans under /api/v1/."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from calcs.api import views

router = SimpleRouter()
router.register("calculations", views.CalculationViewSet)
router.register("answers", views.AnswerViewSet)
router.register("plans", views.PlanViewSet)

urlpatterns = [
    path(
        "surveys/<uuid:survey_id>/calculations/", views.SurveyCalculationsView.as_view(), name="survey-calculations"
    ),
    *router.urls,
]
