"""The manager's figures over all homes, over the API."""

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from calcs import all_homes
from jobs.clock import company_zone
from jobs.errors import DomainError
from jobs.rights import MANAGER, is_manager, refusal


class TallySerializer(serializers.Serializer[Any]):
    """How many homes are of one sort; ``key`` is the value of the due list's filter that lists them."""

    key = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]  # a field of that name, over the framework's own
    count = serializers.IntegerField()
    share = serializers.FloatField(help_text="of all, 0 to 1")


class RatesSerializer(serializers.Serializer[Any]):
    """How fast the homes of one class move; ``key`` is the value of the due list's filter that lists them."""

    key = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]  # as above
    homes = serializers.IntegerField()
    over = serializers.IntegerField()
    measured = serializers.IntegerField(help_text="homes whose rate was measured")
    half_in_per_yr = serializers.FloatField(allow_null=True, help_text="half of these are slower")
    nine_in_ten_in_per_yr = serializers.FloatField(allow_null=True, help_text="nine in ten of these are slower")


class CallBacksSerializer(serializers.Serializer[Any]):
    """What came back."""

    inside = serializers.IntegerField(help_text="call-backs while the warranty held")
    outside = serializers.IntegerField(help_text="call-backs after the warranty, or without one")
    running = serializers.IntegerField(help_text="jobs whose warranty holds today")
    called_back = serializers.IntegerField(help_text="of these, those that a call-back names")


class AllHomesSerializer(serializers.Serializer[Any]):
    """All figures of one moment. The lists behind them: ``due/`` by ``standing``, ``marks``, ``soil`` and so on."""

    homes = serializers.IntegerField(help_text="that stand and are computed")
    as_of = serializers.DateField(allow_null=True, help_text="the oldest day that one was computed for")
    not_computed = serializers.IntegerField()
    standings = TallySerializer(many=True)
    marks = TallySerializer(many=True)
    by_soil = RatesSerializer(many=True)
    by_foundation = RatesSerializer(many=True)
    by_age = RatesSerializer(many=True)
    call_backs = CallBacksSerializer()


class AllHomesView(APIView):
    """How all homes stand and move, and what came back: for managers."""

    permission_classes = [IsAuthenticated]

    @extend_schema(operation_id="all_homes_retrieve", responses=AllHomesSerializer)
    def get(self, request: Request) -> Response:
        """Return the figures."""
        if not is_manager(request.user):
            raise DomainError("permission_denied", refusal(MANAGER), status=403)
        today = timezone.localdate(timezone=company_zone())
        return Response(AllHomesSerializer(all_homes.gather(today)).data)
