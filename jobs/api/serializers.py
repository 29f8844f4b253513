"""People and homes on the wire: shape and field checks only."""

from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from drf_spectacular.utils import extend_schema_field, inline_serializer
from rest_framework import serializers

from jobs import rulebook
from jobs.api.base import RowSerializer
from jobs.models import Company, Customer, DeviceToken, Home, HomeContact, Role, RuleSet, Siting, Skill, User
from jobs.models.people import check_time_zone


@extend_schema_field({"type": "string", "pattern": r"^([01]\d|2[0-3]):[0-5]\d:[0-5]\d$"})
class ClockTimeField(serializers.TimeField):
    """A time of day by the company's own clock: what JSON schema calls a time has an offset from UTC."""


class CompanySerializer(RowSerializer):
    """The one company."""

    works_from = ClockTimeField(required=False, help_text="when its people begin to work")
    works_to = ClockTimeField(required=False, help_text="when they go home")

    time_zone = serializers.CharField(max_length=64, validators=[check_time_zone])
    currency = serializers.RegexField(
        r"^[A-Z]{3}$", error_messages={"invalid": _("Give three letters, such as USD.")}
    )

    class Meta:
        model = Company
        fields = [
            "id",
            "name",
            "letterhead",
            "time_zone",
            "currency",
            "tax_pct",
            "licence_number",
            "licence_expires_on",
            "insurance_number",
            "insurance_expires_on",
            "rule_set",
            "latitude_deg",
            "longitude_deg",
            "works_from",
            "works_to",
        ]


class UserSerializer(RowSerializer):
    """A person of the company; the password is written only."""

    roles = serializers.ListField(child=serializers.ChoiceField(Role.choices), required=False)
    skills = serializers.ListField(child=serializers.ChoiceField(Skill.choices), required=False)
    password = serializers.CharField(write_only=True, required=False, validators=[validate_password])

    class Meta:
        model = User
        fields = [
            "id",
            "username",
            "first_name",
            "last_name",
            "email",
            "phone",
            "language",
            "length_unit",
            "roles",
            "skills",
            "is_active",
            "password",
        ]

    def to_representation(self, instance: User) -> dict[str, Any]:
        """Keep how to reach somebody to the office and the manager, and to that person."""
        shown: dict[str, Any] = super().to_representation(instance)
        asks = self.context["request"].user
        if asks.pk != instance.pk and not (asks.is_manager or asks.has_role(Role.OFFICE)):
            shown |= {"email": "", "phone": ""}
        return shown

    def validate_roles(self, roles: list[str]) -> list[str]:
        """A set of roles: each once, in a steady order."""
        return sorted(set(roles))

    def validate_skills(self, skills: list[str]) -> list[str]:
        """A set of skills: each once, in a steady order."""
        return sorted(set(skills))

    def create(self, validated_data: dict[str, Any]) -> User:
        """Add a person; without a password they sign in once somebody sets one."""
        password = validated_data.pop("password", None)
        user = User(**validated_data)
        user.set_password(password)
        user.save()
        return user

    def update(self, instance: User, validated_data: dict[str, Any]) -> User:
        """Change a person."""
        if (password := validated_data.pop("password", None)) is not None:
            instance.set_password(password)
        updated: User = super().update(instance, validated_data)
        return updated


class DeviceTokenSerializer(RowSerializer):
    """A device's token, without its secret."""

    class Meta:
        model = DeviceToken
        fields = ["id", "user", "name", "created_at", "expires_at", "revoked_at", "last_used_at"]
        read_only_fields = fields


class NewDeviceTokenSerializer(serializers.Serializer[Any]):
    """What it takes to sign a device in: a session, or a name and password."""

    name = serializers.CharField(max_length=80, help_text="what the device is called, such as 'truck 2 phone'")
    days = serializers.IntegerField(min_value=1, max_value=365, default=90, help_text="how long it may be used")
    username = serializers.CharField(required=False, write_only=True, max_length=150)
    password = serializers.CharField(required=False, write_only=True, trim_whitespace=False)


class IssuedDeviceTokenSerializer(DeviceTokenSerializer):
    """A token just issued: the only time its secret is shown."""

    secret = serializers.CharField(read_only=True)

    class Meta(DeviceTokenSerializer.Meta):
        fields = [*DeviceTokenSerializer.Meta.fields, "secret"]
        read_only_fields = fields


class CustomerSerializer(RowSerializer):
    """Somebody who calls and pays."""

    class Meta:
        model = Customer
        fields = ["id", "name", "phone", "email", "language", "postal_address", "notes", "archived_at"]
        read_only_fields = ["archived_at"]


class HomeSerializer(RowSerializer):
    """A home."""

    class Meta:
        model = Home
        fields = [
            "id",
            "code",
            "name",
            "kind",
            "sections",
            "width_ft",
            "length_ft",
            "built_on",
            "label_number",
            "data_plate",
            "wall_finish",
            "roof_live_psf",
            "wind_zone",
            "soil_class",
            "beam_i_in4",
            "beam_section_modulus_in3",
            "beam_load_lb_per_ft",
            "land_owner",
            "has_foundation_letter",
            "access_notes",
            "rule_set",
            "archived_at",
        ]
        read_only_fields = ["archived_at"]


class HomeContactSerializer(RowSerializer):
    """Who has to do with a home."""

    fixed = ("home", "customer")

    class Meta:
        model = HomeContact
        fields = ["id", "home", "customer", "part", "from_on", "to_on"]


class SitingSerializer(RowSerializer):
    """A home at one place."""

    fixed = ("home",)

    class Meta:
        model = Siting
        fields = [
            *("id", "home", "address", "from_on", "to_on", "latitude_deg", "longitude_deg"),
            *("marked_end", "north_deg"),
        ]


class RuleSetSerializer(RowSerializer):
    """A company's or a state's changes to the rule book; the version is counted here."""

    class Meta:
        model = RuleSet
        fields = ["id", "name", "version", "values", "source", "created_at"]
        read_only_fields = ["version", "created_at"]
        extra_kwargs = {"source": {"required": True, "allow_blank": False}}

    def validate_values(self, values: object) -> object:
        """Refuse rules that the rule book does not know, and values outside their range."""
        if problems := rulebook.problems_with(values):
            raise serializers.ValidationError(problems)
        return values

    def create(self, validated_data: dict[str, Any]) -> RuleSet:
        """Add the next version of this name."""
        newest = RuleSet.objects.filter(name=validated_data["name"]).order_by("-version").first()
        return RuleSet.objects.create(version=newest.version + 1 if newest else 1, **validated_data)


# One rule: what holds, what the rule book says, and where the value that holds is from.
RULE = inline_serializer(
    "Rule",
    {
        "key": serializers.CharField(),
        "value": serializers.FloatField(),
        "default": serializers.FloatField(),
        "is_changed": serializers.BooleanField(),
        "unit": serializers.CharField(),
        "low": serializers.FloatField(),
        "high": serializers.FloatField(),
        "about": serializers.CharField(),
        "source": serializers.CharField(help_text="of the value that holds"),
    },
).__class__


class RuleSetDetailSerializer(RuleSetSerializer):
    """A rule set with the whole rule book as it holds under it."""

    rules = serializers.SerializerMethodField()

    class Meta(RuleSetSerializer.Meta):
        fields = [*RuleSetSerializer.Meta.fields, "rules"]

    @extend_schema_field(RULE(many=True))
    def get_rules(self, rule_set: RuleSet) -> list[dict[str, Any]]:
        """Return every rule."""
        return rules_under(rule_set)


def rules_under(rule_set: RuleSet | None) -> list[dict[str, Any]]:
    """Return the rule book as it holds under a rule set, or by default."""
    changed = rule_set.values if rule_set else {}
    whose = f"{rule_set}: {rule_set.source}" if rule_set else ""
    return [
        {
            "key": key,
            "value": float(changed.get(key, rule.value)),
            "default": rule.value,
            "is_changed": key in changed,
            "unit": rule.unit,
            "low": rule.low,
            "high": rule.high,
            "about": gettext(rule.about),
            "source": whose if key in changed else rule.source,
        }
        for key, rule in rulebook.RULES.items()
    ]
