"""Addresses of calculations, answers and plans under /api/v1/."""

from django.urls import path
from rest_framework.routers import SimpleRouter

from calcs.api import approval_views, closing_views, home_record_views, letter_views, paper_views, pass_views, views
from calcs.api.all_homes import AllHomesView
from calcs.api.day.views import DayView
from calcs.api.due_views import DueViewSet
from calcs.api.operations import OperationsView
from calcs.api.route_views import RoutePlanViewSet
from calcs.api.sync.views import SyncViewSet
from calcs.api.trial_views import TrialViewSet

router = SimpleRouter()
router.register("calculations", views.CalculationViewSet)
router.register("answers", views.AnswerViewSet)
router.register("plans", views.PlanViewSet)
router.register("pass-entries", pass_views.PassEntryViewSet)
router.register("approvals", approval_views.ApprovalViewSet)
router.register("closings", closing_views.ClosingViewSet)
router.register("trials", TrialViewSet)
router.register("due", DueViewSet)
router.register("route-plans", RoutePlanViewSet)
router.register("sync", SyncViewSet)

urlpatterns = [
    path(
        "surveys/<uuid:survey_id>/calculations/", views.SurveyCalculationsView.as_view(), name="survey-calculations"
    ),
    path("surveys/<uuid:survey_id>/sure-plan/", views.SurePlanView.as_view(), name="survey-sure-plan"),
    path("plans/<uuid:pk>/approval/", approval_views.PlanApprovalView.as_view(), name="plan-approval"),
    path("assessments/<uuid:pk>/letter/", letter_views.LetterView.as_view(), name="assessment-letter-file"),
    path("plans/<uuid:pk>/sheet/", paper_views.PlanSheetView.as_view(), name="plan-sheet-file"),
    path(
        "sitings/<uuid:pk>/reading-sheet/", paper_views.ReadingSheetView.as_view(), name="siting-reading-sheet-file"
    ),
    path("homes/<uuid:pk>/record/", home_record_views.HomeRecordView.as_view(), name="home-record-numbers"),
    path(
        "homes/<uuid:pk>/record/heights/",
        home_record_views.HomeRecordHeightsView.as_view(),
        name="home-record-heights",
    ),
    path("homes/<uuid:pk>/record/paper/", home_record_views.HomeRecordPaperView.as_view(), name="home-record-paper"),
    path("operations/", OperationsView.as_view(), name="operations-figures"),
    path("day/", DayView.as_view(), name="day"),
    path("all-homes/", AllHomesView.as_view(), name="all-homes-figures"),
    *router.urls,
]
