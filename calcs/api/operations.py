"""The operator's figures over the API, for whatever watches the service."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from calcs import operations
from calcs.models import NightlyRun, WorkerBeat
from jobs.rights import Act, need


class RunningSerializer(serializers.Serializer[Any]):
    """A calculation that a worker holds."""

    id = serializers.UUIDField()
    kind = serializers.CharField()
    attempt = serializers.IntegerField()
    runs_for_s = serializers.FloatField()
    lease_left_s = serializers.FloatField(help_text="below 0: its worker is gone, and the sweeper queues it again")


class FailureCountSerializer(serializers.Serializer[Any]):
    """How often calculations ended for one reason."""

    code = serializers.CharField()
    count = serializers.IntegerField()


class HourSerializer(serializers.Serializer[Any]):
    """What became of the calculations that were asked for in one hour."""

    hour = serializers.DateTimeField()
    done = serializers.IntegerField()
    failed = serializers.IntegerField()


class SpeedSerializer(serializers.Serializer[Any]):
    """How long calculations of one kind waited and ran."""

    kind = serializers.CharField()
    count = serializers.IntegerField()
    wait_p50_s = serializers.FloatField()
    wait_p95_s = serializers.FloatField()
    run_p50_s = serializers.FloatField()
    run_p95_s = serializers.FloatField()


class WorkerSerializer(serializers.Serializer[Any]):
    """A worker and its last sign of life."""

    worker = serializers.CharField()
    age_s = serializers.FloatField()
    is_alive = serializers.BooleanField()


class NightSerializer(serializers.Serializer[Any]):
    """How far the newest walk through all homes has come."""

    day = serializers.DateField()
    state = serializers.ChoiceField(choices=NightlyRun.State.choices)
    done = serializers.IntegerField()
    failed = serializers.IntegerField()
    total = serializers.IntegerField()
    took_s = serializers.FloatField()
    is_left = serializers.BooleanField(help_text="running, and nobody works at it: it is taken up by the clock")


class OperationsSerializer(serializers.Serializer[Any]):
    """All figures of one moment; failures, hours and speeds are of the last 24 hours."""

    at = serializers.DateTimeField()
    broker = serializers.CharField(help_text="ok, or what is wrong")
    waiting = serializers.IntegerField()
    oldest_waiting_s = serializers.FloatField(allow_null=True)
    running = serializers.IntegerField()
    longest_held = RunningSerializer(many=True)
    failures = FailureCountSerializer(many=True)
    hours = HourSerializer(many=True)
    speeds = SpeedSerializer(many=True)
    workers = WorkerSerializer(many=True)
    night = NightSerializer(allow_null=True)
    set_aside = serializers.IntegerField(help_text="phones' entries that wait for somebody to mend them")
    oldest_set_aside_s = serializers.FloatField(allow_null=True)
    database_bytes = serializers.IntegerField()
    versions = serializers.DictField(child=serializers.CharField())


class OperationsView(APIView):
    """How the service runs: for managers."""

    queryset = WorkerBeat.objects.none()  # what the rights are looked up by

    @extend_schema(operation_id="operations_retrieve", responses=OperationsSerializer)
    def get(self, request: Request) -> Response:
        """Return queue, failures, speeds, workers and sizes."""
        need(request.user, Act.SEE, WorkerBeat)
        return Response(OperationsSerializer(operations.gather()).data)
