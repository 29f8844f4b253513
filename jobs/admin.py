"""Plain admin for people, homes, layouts and visits: search and filters, no rules of its own."""

from typing import TYPE_CHECKING, Any

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.contrib.auth.forms import UserChangeForm
from django.contrib.auth.models import Group
from django.http import HttpRequest

from jobs.account_admin import erase, sign_out_everywhere, unlock
from jobs.admin_base import KeptAdmin, VersionedAdmin
from jobs.editing import VersionedForm
from jobs.models import (
    Benchmark,
    Company,
    Connection,
    Customer,
    DeviceToken,
    Home,
    HomeContact,
    NeighbourPair,
    Point,
    RuleSet,
    Siting,
    Strap,
    Support,
    User,
    Visit,
)

if TYPE_CHECKING:  # generic to the type checker only
    PeopleAdmin = UserAdmin[User]
    PersonFields = UserChangeForm[User]
else:
    PeopleAdmin = UserAdmin
    PersonFields = UserChangeForm

admin.site.unregister(Group)  # roles are on the person


@admin.register(Company)
class CompanyAdmin(VersionedAdmin):
    list_display = ["name", "time_zone", "currency", "tax_pct", "rule_set"]
    list_select_related = ["rule_set"]


class PersonForm(VersionedForm, PersonFields):
    """A person, as the library's own form has it, with the version that it was filled from."""


@admin.register(User)
class PersonAdmin(VersionedAdmin, PeopleAdmin):
    form = PersonForm
    list_display = ["username", "first_name", "last_name", "roles", "is_active"]
    list_filter = ["is_active", "is_staff"]
    filter_horizontal = []
    fieldsets = [
        (None, {"fields": ["username", "password"]}),
        ("Person", {"fields": ["first_name", "last_name", "email", "phone", "language", "length_unit"]}),
        ("Work", {"fields": ["roles", "is_active", "is_staff", "is_superuser"]}),
        ("Times", {"fields": ["last_login", "date_joined"]}),
    ]
    readonly_fields = ["last_login", "date_joined"]
    actions = [sign_out_everywhere, unlock, erase]

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """People are made inactive: their readings stay theirs."""
        return False


@admin.register(DeviceToken)
class DeviceTokenAdmin(KeptAdmin):
    list_display = ["name", "user", "created_at", "expires_at", "revoked_at", "last_used_at"]
    list_select_related = ["user"]
    search_fields = ["name", "user__username"]
    fields = ["name", "user", "created_at", "expires_at", "revoked_at", "last_used_at"]
    readonly_fields = ["name", "user", "created_at", "expires_at", "last_used_at"]

    def has_add_permission(self, request: HttpRequest) -> bool:
        """A token's secret is shown only where it is issued."""
        return False


@admin.register(Customer)
class CustomerAdmin(VersionedAdmin):
    list_display = ["name", "phone", "email", "archived_at"]
    list_filter = [("archived_at", admin.EmptyFieldListFilter)]
    search_fields = ["name", "phone", "email"]
    actions = [erase]


@admin.register(Home)
class HomeAdmin(VersionedAdmin):
    list_display = ["code", "name", "kind", "sections", "width_ft", "length_ft", "rule_set", "archived_at"]
    list_filter = ["kind", "soil_class", ("archived_at", admin.EmptyFieldListFilter)]
    list_select_related = ["rule_set"]
    search_fields = ["code", "name"]


@admin.register(HomeContact)
class HomeContactAdmin(VersionedAdmin):
    list_display = ["customer", "home", "part", "from_on", "to_on"]
    list_filter = ["part"]
    list_select_related = ["customer", "home"]
    raw_id_fields = ["customer", "home"]
    search_fields = ["customer__name", "home__code"]


@admin.register(Siting)
class SitingAdmin(VersionedAdmin):
    list_display = ["home", "address", "from_on", "to_on"]
    list_select_related = ["home"]
    raw_id_fields = ["home"]
    search_fields = ["home__code", "home__name", "address"]


@admin.register(Point)
class PointAdmin(VersionedAdmin):
    list_display = ["label", "siting", "surface", "beam", "x_ft", "y_ft", "design_offset_in", "archived_at"]
    list_filter = ["surface", ("archived_at", admin.EmptyFieldListFilter)]
    list_select_related = ["siting__home"]
    raw_id_fields = ["siting"]
    search_fields = ["label", "siting__home__code"]


@admin.register(Support)
class SupportAdmin(VersionedAdmin):
    list_display = ["point", "kind", "footing", "height_in", "condition", "gap_in", "installed_on", "removed_on"]
    list_filter = ["kind", "footing", "condition", ("removed_on", admin.EmptyFieldListFilter)]
    list_select_related = ["point"]
    raw_id_fields = ["point"]
    search_fields = ["point__label", "point__siting__home__code"]


@admin.register(NeighbourPair)
class NeighbourPairAdmin(VersionedAdmin):
    list_display = ["a", "b", "siting", "direction", "tolerance_in", "is_proposed"]
    list_filter = ["direction", "is_proposed"]
    list_select_related = ["a", "b", "siting__home"]
    raw_id_fields = ["a", "b", "siting"]
    search_fields = ["a__label", "b__label", "siting__home__code"]

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """No history hangs on a pair: it may go."""
        return super(KeptAdmin, self).has_delete_permission(request, obj)


@admin.register(Benchmark)
class BenchmarkAdmin(VersionedAdmin):
    list_display = ["point", "mark_class", "description", "retired_on", "replaced_by"]
    list_filter = ["mark_class"]
    list_select_related = ["point", "replaced_by__point"]
    raw_id_fields = ["point", "replaced_by"]
    search_fields = ["point__label", "description", "point__siting__home__code"]


@admin.register(Connection)
class ConnectionAdmin(VersionedAdmin):
    list_display = ["code", "kind", "siting", "measured", "free_up_in", "free_down_in", "trade", "archived_at"]
    list_filter = ["kind", "measured", "trade"]
    list_select_related = ["siting__home"]
    raw_id_fields = ["siting"]
    search_fields = ["code", "siting__home__code"]


@admin.register(Strap)
class StrapAdmin(VersionedAdmin):
    list_display = ["code", "siting", "point", "anchor_kind", "slack_in", "tension_lb", "archived_at"]
    list_filter = ["anchor_kind", "soil_class"]
    list_select_related = ["siting__home", "point"]
    raw_id_fields = ["siting", "point"]
    search_fields = ["code", "siting__home__code"]


@admin.register(Visit)
class VisitAdmin(VersionedAdmin):
    list_display = ["starts_at", "kind", "siting", "state", "lead"]
    list_filter = ["kind", "state"]
    list_select_related = ["siting__home", "lead"]
    raw_id_fields = ["siting", "lead", "crew"]
    search_fields = ["siting__home__code", "siting__address"]
    date_hierarchy = "starts_at"


@admin.register(RuleSet)
class RuleSetAdmin(KeptAdmin):
    """A version is added, never changed: results refer to it."""

    list_display = ["name", "version", "source", "created_at"]
    search_fields = ["name"]
    readonly_fields = ["created_at"]

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Versions stay as they are."""
        return False
