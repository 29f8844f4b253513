"""The record of a home over the years over the API: what each number is."""

from typing import Any

from rest_framework import serializers

from surveys.models import Survey


class RecordSurveySerializer(serializers.Serializer[Any]):
    """A survey that was handed in and computed; none from the middle of a job."""

    id = serializers.UUIDField()
    started_at = serializers.DateTimeField()
    stage = serializers.ChoiceField(Survey.Stage.choices)
    verdict = serializers.CharField(allow_null=True, help_text="on how level the home was")
    range_in = serializers.FloatField(allow_null=True, help_text="highest less lowest support")


class RecordHeightSerializer(serializers.Serializer[Any]):
    """A height in a survey."""

    survey = serializers.UUIDField()
    height_in = serializers.FloatField()
    sd_in = serializers.FloatField(help_text="standard deviation")


class RecordPointSerializer(serializers.Serializer[Any]):
    """A point of the home, against the home's mean, or an outside mark, against the mean of the marks."""

    point = serializers.UUIDField()
    label = serializers.CharField()  # type: ignore[assignment]  # only the stubs see a clash with Field.label
    is_mark = serializers.BooleanField()
    heights = RecordHeightSerializer(many=True)
    rate_in_per_yr = serializers.FloatField(allow_null=True)
    rate_sd_in_per_yr = serializers.FloatField(allow_null=True)


class RecordChangedPointSerializer(serializers.Serializer[Any]):
    """The change of a point, and what it lies between at the confidence of the rules."""

    point = serializers.UUIDField()
    change_in = serializers.FloatField()
    sd_in = serializers.FloatField()
    low_in = serializers.FloatField()
    high_in = serializers.FloatField()
    detectable_in = serializers.FloatField(allow_null=True, help_text="what would be seen in 80 of 100 cases")
    verdict = serializers.ChoiceField(["moved", "no_evidence"])


class RecordChangeSerializer(serializers.Serializer[Any]):
    """What moved from one survey to another."""

    first = serializers.UUIDField()
    second = serializers.UUIDField()
    is_relative = serializers.BooleanField(help_text="no marks could be relied on: only movement within the home")
    datum = serializers.ListField(child=serializers.UUIDField(), help_text="points that changes are against")
    taken_out = serializers.ListField(child=serializers.UUIDField(), help_text="that did not stay with the others")
    common_shift_in = serializers.FloatField(allow_null=True, help_text="of the home as a whole")
    common_shift_sd_in = serializers.FloatField(allow_null=True)
    pattern = serializers.CharField(allow_null=True)
    points = RecordChangedPointSerializer(many=True)


class RecordBandSerializer(serializers.Serializer[Any]):
    """Where a point will be on a day, and what it lies between with a chance of 95 %."""

    point = serializers.UUIDField()
    on = serializers.DateField()
    height_in = serializers.FloatField()
    low95_in = serializers.FloatField()
    high95_in = serializers.FloatField()


class RecordForecastSerializer(serializers.Serializer[Any]):
    """The forecast that was made when the home was last read."""

    basis = serializers.CharField()
    chance_now = serializers.FloatField(allow_null=True)
    due_on = serializers.DateField(allow_null=True)
    latest_on = serializers.DateField(allow_null=True)
    bands = RecordBandSerializer(many=True)


class HomeRecordSerializer(serializers.Serializer[Any]):
    """The record of a home at one place."""

    home = serializers.UUIDField()
    siting = serializers.UUIDField()
    surveys = RecordSurveySerializer(many=True)
    lifts = serializers.ListField(child=serializers.DateField())
    points = RecordPointSerializer(many=True)
    home_above_marks = RecordHeightSerializer(many=True)
    change = RecordChangeSerializer(allow_null=True)
    forecast = RecordForecastSerializer(allow_null=True)


class AskedRecordSerializer(serializers.Serializer[Any]):
    """What may be chosen; without a choice the newest."""

    place = serializers.UUIDField(required=False, help_text="siting; without it: where the home stands now")
    first = serializers.UUIDField(required=False, help_text="survey that changes are told from")
    second = serializers.UUIDField(required=False, help_text="survey that changes are told to")
