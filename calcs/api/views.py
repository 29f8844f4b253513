"""Calculations, answers and plans over the API: to read, and to ask for."""

import uuid
from typing import Any, cast

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from django.urls import reverse
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.views import APIView
from rest_framework.viewsets import ReadOnlyModelViewSet

from calcs.api import serializers
from calcs.api.filters import PlanFilter
from calcs.models import Answer, Calculation, Plan
from calcs.services import request_calculations, request_sure_plan, run_again
from calcs.survey_page import progress_of, steps_of
from jobs.errors import DomainError
from jobs.models import User
from jobs.models.base import CompanyQuerySet
from jobs.rights import MANAGER, is_manager, refusal
from surveys.models import Survey


class ReadViewSet(ReadOnlyModelViewSet[Any]):
    """Rows that the API only shows: a shorter form in lists, the whole one by itself."""

    detail_serializer_class: type[BaseSerializer[Any]]

    def get_queryset(self) -> QuerySet[Any]:
        """Return the rows that the person may see."""
        rows: CompanyQuerySet[Any] = super().get_queryset()  # type: ignore[assignment]  # DRF knows no own querysets
        return rows.visible_to(self.request.user)

    def get_serializer_class(self) -> type[BaseSerializer[Any]]:
        """Return the form for a list or for one row."""
        return super().get_serializer_class() if self.action == "list" else self.detail_serializer_class


class CalculationViewSet(ReadViewSet):
    """Stored calculations. A done one never changes."""

    queryset = Calculation.objects.all()
    serializer_class = serializers.CalculationSerializer
    detail_serializer_class = serializers.CalculationDetailSerializer
    filterset_fields = ["survey", "kind", "state"]

    def get_queryset(self) -> QuerySet[Any]:
        """Leave the large documents of a list in the database."""
        rows = super().get_queryset()
        return rows.defer("input", "result", "error") if self.action == "list" else rows.select_related("survey")

    @extend_schema(
        request=None,
        responses={
            202: OpenApiResponse(
                serializers.CalculationSerializer,
                description="Asked; Location holds the address of the calculation that runs in its place.",
            )
        },
    )
    @action(detail=True, methods=["post"], url_path="run-again")
    def run_again(self, request: Request, pk: str) -> Response:
        """Run one that failed again, as a new row; one that did not fail stays, and comes back. For managers."""
        if not is_manager(request.user):
            raise DomainError("permission_denied", refusal(MANAGER), status=403)
        again = run_again(self.get_object(), by=cast(User, request.user))
        return _accepted(again)


class AnswerViewSet(ReadViewSet):
    """Which calculations stand for a survey, one a kind."""

    queryset = Answer.objects.select_related("survey", "calculation").defer(
        "calculation__input", "calculation__result"
    )
    serializer_class = serializers.AnswerSerializer
    detail_serializer_class = serializers.AnswerSerializer
    filterset_fields = ["survey", "kind"]


class PlanViewSet(ReadViewSet):
    """Lift plans, one an option of a lift calculation."""

    queryset = Plan.objects.select_related("lift").defer("lift__input")
    serializer_class = serializers.PlanSerializer
    detail_serializer_class = serializers.PlanDetailSerializer
    filterset_class = PlanFilter

    def get_queryset(self) -> QuerySet[Any]:
        """Add the checks for a whole plan."""
        rows = super().get_queryset()
        return (
            rows if self.action == "list" else rows.select_related("survey").prefetch_related("checks__calculation")
        )


class SurveyCalculationsView(APIView):
    """Asking for what follows from a survey's readings, and how far that has come."""

    rights_model = Calculation

    @extend_schema(responses=serializers.StepsSerializer)
    def get(self, request: Request, survey_id: uuid.UUID) -> Response:
        """Tell how many of the steps are done."""
        survey = get_object_or_404(Survey.objects.visible_to(request.user), pk=survey_id)
        return Response(serializers.StepsSerializer(progress_of(survey, steps_of(survey))).data)

    @extend_schema(
        request=None,
        responses={
            202: OpenApiResponse(
                serializers.CalculationSerializer,
                description="Asked; Location holds the address of the heights, the root of all that follows.",
            )
        },
    )
    def post(self, request: Request, survey_id: uuid.UUID) -> Response:
        """Ask for a survey's calculations; asking again for the same readings and record gives the same ones."""
        survey = get_object_or_404(Survey.objects.visible_to(request.user), pk=survey_id)
        by = request.user if isinstance(request.user, User) else None
        calculation = request_calculations(survey, by=by)
        return _accepted(calculation)


class SurePlanView(APIView):
    """Asking for a plan that is sure of the tolerances."""

    rights_model = Calculation

    @extend_schema(
        request=None,
        responses={
            202: OpenApiResponse(
                serializers.CalculationSerializer,
                description="Asked; Location holds the address of the lift. 409 while there are no heights.",
            )
        },
    )
    def post(self, request: Request, survey_id: uuid.UUID) -> Response:
        """Ask for a plan that ends within every tolerance with the chance that the rule `sure_chance` says."""
        survey = get_object_or_404(Survey.objects.visible_to(request.user), pk=survey_id)
        by = request.user if isinstance(request.user, User) else None
        return _accepted(request_sure_plan(survey, by=by))


def _accepted(calculation: Calculation) -> Response:
    return Response(
        serializers.CalculationSerializer(calculation).data,
        status=202,
        headers={"Location": reverse("calculation-detail", args=[calculation.pk])},
    )
