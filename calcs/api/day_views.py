"""One request that loads a day for a phone."""

import hashlib
from typing import Any, cast

import msgspec
from django.http import HttpResponse
from django.utils.cache import get_conditional_response, patch_vary_headers
from django.utils.decorators import method_decorator
from django.views.decorators.gzip import gzip_page
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.views import APIView

from calcs.api import day
from jobs.api import field_serializers, layout_serializers, safety_serializers
from jobs.api.serializers import HomeSerializer, SitingSerializer, VisitSerializer
from jobs.cautions import Moment
from jobs.models import User, Visit
from surveys.api.serializers import ReadingSerializer, SetupSerializer, SurveySerializer

_json = msgspec.json.Encoder()
Fields = serializers.Serializer[Any]


class _DateSerializer(Fields):
    date = serializers.DateField(required=False)


class ContactSerializer(Fields):
    """Whom to call about a home."""

    part = serializers.CharField()
    name = serializers.CharField()
    phone = serializers.CharField()


class OpenSurveySerializer(SurveySerializer):
    """A survey that is not handed in yet, with what counts of it so far."""

    setups = SetupSerializer(many=True)
    standing_readings = ReadingSerializer(many=True)

    class Meta(SurveySerializer.Meta):
        fields = [*SurveySerializer.Meta.fields, "setups", "standing_readings"]


class DayDrainRunSerializer(layout_serializers.DrainRunSerializer):
    """A drain run with the places on it."""

    nodes = layout_serializers.DrainNodeSerializer(many=True, help_text="from the upper end down")

    class Meta(layout_serializers.DrainRunSerializer.Meta):
        fields = [*layout_serializers.DrainRunSerializer.Meta.fields, "nodes"]


class HeightSerializer(Fields):
    """A height above the mean of all points that were read."""

    point = serializers.UUIDField()
    height_in = serializers.FloatField()
    sd_in = serializers.FloatField()
    sd_posterior_in = serializers.FloatField(allow_null=True)


class LastSurveySerializer(SurveySerializer):
    """The newest survey that was handed in, with its heights once they are computed."""

    heights = HeightSerializer(many=True, allow_null=True)
    heights_are_newest = serializers.BooleanField(help_text="false once readings came in after they were asked for")

    class Meta(SurveySerializer.Meta):
        fields = [*SurveySerializer.Meta.fields, "heights", "heights_are_newest"]


class PlanMoveSerializer(Fields):
    """What happens at one support; heights are above the mean height of all points that were read."""

    point = serializers.UUIDField()
    move_in = serializers.FloatField(help_text="of the frame, up is positive")
    support_change_in = serializers.FloatField(help_text="of the support under it, a closed gap included")
    from_in = serializers.FloatField()
    to_in = serializers.FloatField(help_text="the height to reach")


class DayPlanSerializer(Fields):
    """A lift plan that stands for the last survey."""

    id = serializers.UUIDField()
    survey = serializers.UUIDField()
    option = serializers.CharField()
    minutes = serializers.FloatField()
    is_recommended = serializers.BooleanField()
    is_provisional = serializers.BooleanField()
    is_approved = serializers.BooleanField(help_text="this is the plan to work by; entries of others are kept too")
    freed = serializers.ListField(child=serializers.UUIDField(), help_text="connections to be freed before the lift")
    moves = PlanMoveSerializer(many=True)


class DayApprovalSerializer(Fields):
    """The approval that stands at a siting."""

    id = serializers.UUIDField()
    plan = serializers.UUIDField(help_text="not among the plans once readings have come in since: don't work by it")
    number = serializers.IntegerField()
    approved_at = serializers.DateTimeField()


class PlaceSerializer(Fields):
    """Everything about one home that is visited."""

    siting = SitingSerializer()
    home = HomeSerializer()
    contacts = ContactSerializer(many=True, help_text="empty for those who may not see customers")
    points = layout_serializers.PointSerializer(many=True)
    supports = layout_serializers.SupportSerializer(many=True)
    neighbour_pairs = layout_serializers.NeighbourPairSerializer(many=True)
    benchmarks = layout_serializers.BenchmarkSerializer(many=True)
    connections = layout_serializers.ConnectionSerializer(many=True)
    straps = layout_serializers.StrapSerializer(many=True)
    drain_runs = DayDrainRunSerializer(many=True)
    findings = field_serializers.FindingSerializer(many=True, help_text="those not archived")
    hazards = safety_serializers.HazardSerializer(many=True, help_text="of the home, not cleared yet")
    open_surveys = OpenSurveySerializer(many=True)
    last_survey = LastSurveySerializer(allow_null=True)
    plans = DayPlanSerializer(many=True)
    approval = DayApprovalSerializer(allow_null=True)
    rules = serializers.DictField(child=serializers.FloatField(), help_text="the rule book as it holds here")


class CautionSerializer(Fields):
    """A caution to show at the moment it matters, in the person's language."""

    code = serializers.CharField()
    text = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]  # only the stubs see a clash with Field.source


class MomentCautionSerializer(CautionSerializer):
    """A caution of a moment. Who has read it is sent back with the hash of the text that was read."""

    hazard = serializers.CharField()
    language = serializers.ChoiceField(User._meta.get_field("language").flatchoices)
    text_sha256 = serializers.CharField()
    read_by = serializers.ListField(child=serializers.CharField(), help_text="names, for the text as it is now")


class MomentSerializer(Fields):
    """The cautions of one moment."""

    moment = serializers.ChoiceField(Moment.choices)
    cautions = MomentCautionSerializer(many=True)


class DayVisitSerializer(VisitSerializer):
    """A visit with its cautions, in the order of a day's work."""

    cautions_by_moment = MomentSerializer(many=True)

    class Meta(VisitSerializer.Meta):
        fields = [*VisitSerializer.Meta.fields, "cautions_by_moment"]


class InspectionItemSerializer(Fields):
    """One thing to look at when a home is inspected, in the person's language."""

    code = serializers.CharField(help_text="what a finding's item says")
    words = serializers.CharField()
    look = serializers.CharField(help_text="what to look for")
    source = serializers.CharField()  # type: ignore[assignment]  # only the stubs see a clash with Field.source


class DaySerializer(Fields):
    """A person's day."""

    date = serializers.DateField()
    time_zone = serializers.CharField()
    person = serializers.UUIDField()
    visits = DayVisitSerializer(many=True)
    places = PlaceSerializer(many=True, help_text="one a siting that is visited")
    cautions = CautionSerializer(many=True)
    inspection_items = InspectionItemSerializer(
        many=True, help_text="what is looked at of a home as a whole, in order"
    )


@method_decorator(gzip_page, name="dispatch")
class DayView(APIView):
    """A person's visits of a day with everything about the homes that a phone needs without signal."""

    queryset = Visit.objects.all()  # whose rights it takes
    http_method_names = ["get", "head", "options"]

    @extend_schema(
        parameters=[
            OpenApiParameter("date", str, description="YYYY-MM-DD; without it: today, by the company's clock"),
            OpenApiParameter("If-None-Match", str, OpenApiParameter.HEADER, description="the ETag of what is there"),
        ],
        responses={200: DaySerializer, 304: OpenApiResponse(description="Nothing has changed.")},
    )
    def get(self, request: Request) -> HttpResponse:
        """Return the day; 304 without it when nothing has changed."""
        asked = _DateSerializer(data=request.query_params)
        asked.is_valid(raise_exception=True)
        loaded = day.load(day.day_of(cast(User, request.user), asked.validated_data.get("date")))
        body = _json.encode(loaded)
        etag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
        headers = {"ETag": etag, "Cache-Control": "private, no-cache"}
        response = HttpResponse(body, content_type="application/json", headers=headers)
        patch_vary_headers(response, ["Authorization", "Cookie"])
        return get_conditional_response(request._request, etag=etag, response=response) or response
