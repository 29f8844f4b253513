"""What is under a home, on the wire: shape and field checks only."""

from typing import Any, ClassVar, get_args

from django.utils.translation import gettext as _
from rest_framework import serializers

from jobs.api.base import RowSerializer
from jobs.layout import HomeKind, LayoutSpec
from jobs.models import (
    Benchmark,
    Connection,
    DrainNode,
    DrainRun,
    Home,
    NeighbourPair,
    Point,
    Siting,
    Strap,
    Support,
)
from jobs.models.layout import check_courses
from jobs.services import (
    add_benchmark,
    add_drain_node,
    add_point,
    change_benchmark,
    change_drain_node,
    change_point,
    check_same_siting,
)


class SupportSerializer(RowSerializer):
    """The thing under a point."""

    fixed: ClassVar[tuple[str, ...]] = ("point",)
    stack = serializers.ListField(
        child=serializers.CharField(max_length=20),
        max_length=60,
        required=False,
        allow_null=True,
        validators=[check_courses],
        help_text="courses from the top down; null or empty: not recorded",
    )

    class Meta:
        model = Support
        fields = [
            "id",
            "point",
            "kind",
            "footing",
            "footing_length_in",
            "footing_width_in",
            "footing_thickness_in",
            "has_sunk",
            "height_in",
            "offset_in",
            "clearance_in",
            "stack",
            "tier",
            "keep_courses",
            "is_corner",
            "gap_in",
            "max_raise_in",
            "max_lower_in",
            "condition",
            "note",
            "installed_on",
            "removed_on",
        ]


class SupportUnderNewPointSerializer(SupportSerializer):
    """A support that is added together with its point."""

    fixed = ()

    class Meta(SupportSerializer.Meta):
        fields = [name for name in SupportSerializer.Meta.fields if name not in ("id", "point", "removed_on")]


class PointSerializer(RowSerializer):
    """A place whose height is read. Adding one may add the support under it."""

    fixed = ("siting", "surface")
    support = SupportUnderNewPointSerializer(write_only=True, required=False, allow_null=True)

    class Meta:
        model = Point
        fields = [
            "id",
            "siting",
            "label",
            "surface",
            "beam",
            "x_ft",
            "y_ft",
            "design_offset_in",
            "walk_order",
            "archived_at",
            "support",
        ]
        read_only_fields = ["archived_at"]
        extra_kwargs = {"walk_order": {"required": False}}

    def validate_support(self, support: dict[str, Any] | None) -> dict[str, Any] | None:
        """A support comes with a new point only."""
        if support is not None and self.instance is not None:
            raise serializers.ValidationError(_("Change the support at /supports/."))
        return support

    def create(self, validated_data: dict[str, Any]) -> Point:
        """Add the point, and its pairs with it."""
        siting = validated_data.pop("siting")
        support = validated_data.pop("support", None)
        return add_point(siting=siting, fields=validated_data, support=support)

    def update(self, instance: Point, validated_data: dict[str, Any]) -> Point:
        """Move or relabel the point."""
        return change_point(point=instance, fields=validated_data)


class NeighbourPairSerializer(RowSerializer):
    """Two points whose difference is judged."""

    fixed = ("siting", "a", "b")

    class Meta:
        model = NeighbourPair
        fields = ["id", "siting", "a", "b", "direction", "tolerance_in", "is_proposed"]
        read_only_fields = ["is_proposed"]

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Both points lie under the siting."""
        attrs = super().validate(attrs)
        if self.instance is None:
            check_same_siting(attrs["siting"], a=attrs["a"], b=attrs["b"])
        return attrs


class BenchmarkSerializer(RowSerializer):
    """An outside mark, with the place of its point."""

    fixed = ("siting",)
    siting = serializers.PrimaryKeyRelatedField(source="point.siting", queryset=Siting.objects.all())
    # The name hides an attribute of the base class; the framework takes declared fields off the class.
    label = serializers.CharField(source="point.label", max_length=12)  # type: ignore[assignment]
    x_ft = serializers.DecimalField(source="point.x_ft", max_digits=7, decimal_places=3)
    y_ft = serializers.DecimalField(source="point.y_ft", max_digits=7, decimal_places=3)

    class Meta:
        model = Benchmark
        fields = [
            "id",
            "point",
            "siting",
            "label",
            "x_ft",
            "y_ft",
            "mark_class",
            "description",
            "retired_on",
            "replaced_by",
        ]
        read_only_fields = ["point"]

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """A mark stays under its siting, and so does the one that replaces it."""
        place = attrs.get("point", {})
        if (
            self.instance is not None
            and place.get("siting", self.instance.point.siting) != self.instance.point.siting
        ):
            raise serializers.ValidationError({"siting": _("This can't be changed afterwards.")})
        siting = self.instance.point.siting if self.instance is not None else place["siting"]
        successor = attrs.get("replaced_by")
        if successor is not None and successor.point.siting_id != siting.pk:
            raise serializers.ValidationError({"replaced_by": _("This mark lies under another siting.")})
        return attrs

    def create(self, validated_data: dict[str, Any]) -> Benchmark:
        """Add the mark and its point."""
        place = validated_data.pop("point")
        return add_benchmark(siting=place.pop("siting"), place=place, fields=validated_data)

    def update(self, instance: Benchmark, validated_data: dict[str, Any]) -> Benchmark:
        """Change the mark and its point."""
        place = validated_data.pop("point", {})
        place.pop("siting", None)
        return change_benchmark(benchmark=instance, place=place, fields=validated_data)


class ConnectionSerializer(RowSerializer):
    """Something that can break when the home moves."""

    fixed = ("siting",)

    class Meta:
        model = Connection
        fields = [
            "id",
            "siting",
            "code",
            "kind",
            "x_ft",
            "y_ft",
            "free_up_in",
            "free_down_in",
            "measured",
            "free_min",
            "trade",
            "note",
            "archived_at",
        ]
        read_only_fields = ["archived_at"]


class StrapSerializer(RowSerializer):
    """An anchor strap."""

    fixed = ("siting",)

    class Meta:
        model = Strap
        fields = [
            "id",
            "siting",
            "code",
            "point",
            "anchor_kind",
            "soil_class",
            "run_in",
            "rise_in",
            "slack_in",
            "tension_lb",
            "wraps",
            "width_in",
            "thickness_in",
            "bolt_in",
            "rated_lb",
            "has_vertical_tie",
            "note",
            "archived_at",
        ]
        read_only_fields = ["archived_at"]

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """The point lies under the siting."""
        attrs = super().validate(attrs)
        siting = attrs["siting"] if self.instance is None else self.instance.siting
        check_same_siting(siting, point=attrs.get("point"))
        return attrs


class DrainRunSerializer(RowSerializer):
    """A run of drain, from its upper end to its lower."""

    fixed = ("siting",)

    class Meta:
        model = DrainRun
        fields = [
            "id",
            "siting",
            "code",
            "diameter_in",
            "has_cleanout",
            "rehang_min",
            "note",
            "archived_at",
        ]
        read_only_fields = ["archived_at"]


class DrainNodeSerializer(RowSerializer):
    """A place on a drain run where its height was measured."""

    fixed = ("run",)

    class Meta:
        model = DrainNode
        fields = ["id", "run", "at_ft", "invert_in", "x_ft", "y_ft", "is_on_ground"]

    def create(self, validated_data: dict[str, Any]) -> DrainNode:
        """Add the place to its run."""
        return add_drain_node(run=validated_data.pop("run"), fields=validated_data)

    def update(self, instance: DrainNode, validated_data: dict[str, Any]) -> DrainNode:
        """Change the place."""
        return change_drain_node(node=instance, fields=validated_data)


class LayoutSpecSerializer(serializers.Serializer[Any]):
    """What to lay out; what is left out comes from the home and from what is usual."""

    kind = serializers.ChoiceField(choices=get_args(HomeKind), required=False)
    sections = serializers.IntegerField(required=False)
    width_ft = serializers.FloatField(required=False)
    length_ft = serializers.FloatField(required=False)
    beams = serializers.IntegerField(required=False, allow_null=True, help_text="lines of beams a section")
    beam_spacing_in = serializers.FloatField(required=False, allow_null=True)
    support_spacing_ft = serializers.FloatField(required=False, help_text="at most this far apart, evenly")
    end_distance_in = serializers.FloatField(required=False, help_text="end supports from the ends of the home")
    has_mate_line = serializers.BooleanField(required=False)
    mate_line_spacing_ft = serializers.FloatField(required=False, allow_null=True)
    mate_line_offset_in = serializers.FloatField(
        required=False, help_text="how much higher the mate line was built than the beams; 0: not measured"
    )
    has_perimeter = serializers.BooleanField(required=False)
    perimeter_spacing_ft = serializers.FloatField(required=False, allow_null=True)
    rim_offset_in = serializers.FloatField(
        required=False, help_text="how much higher the rim was built than the beams; 0: not measured"
    )
    replace = serializers.BooleanField(
        required=False, help_text="archive the present layout first; refused once anybody has read it"
    )

    def spec_for(self, home: Home) -> LayoutSpec:
        """Return the specification, with the home's own size where none was given."""
        given = {name: value for name, value in self.validated_data.items() if name != "replace"}
        usual = {
            "kind": home.kind,
            "sections": home.sections,
            "width_ft": float(home.width_ft),
            "length_ft": float(home.length_ft),
        }
        return LayoutSpec(**usual | given)


class LayoutSerializer(serializers.Serializer[Any]):
    """Everything under a siting in one answer."""

    siting = serializers.UUIDField()
    points = PointSerializer(many=True)
    supports = SupportSerializer(many=True)
    neighbour_pairs = NeighbourPairSerializer(many=True)
    benchmarks = BenchmarkSerializer(many=True)
    connections = ConnectionSerializer(many=True)
    straps = StrapSerializer(many=True)
    drain_runs = DrainRunSerializer(many=True)
    drain_nodes = DrainNodeSerializer(many=True)
