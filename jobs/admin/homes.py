"""Homes and where they stand."""

from typing import Any, cast

from django.contrib import admin
from django.db.models import OuterRef, QuerySet, Subquery
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from jobs.admin_base import VersionedAdmin
from jobs.models import Home, Siting, User
from jobs.services import archive_home


@admin.register(Home)
class HomeAdmin(VersionedAdmin):
    list_display = ["code", "name", "address_now", "kind", "sections", "width_ft", "length_ft", "archived_at"]
    list_filter = [
        "kind",
        "soil_class",
        "wall_finish",
        "has_foundation_letter",
        ("archived_at", admin.EmptyFieldListFilter),
    ]
    search_fields = ["code", "name", "label_number", "sitings__address", "contacts__customer__name"]
    autocomplete_fields = ["rule_set"]
    ordering = ["code"]

    def get_queryset(self, request: HttpRequest) -> QuerySet[Any]:
        """Bring along where each home stands now."""
        now = Siting.objects.filter(home=OuterRef("pk"), to_on__isnull=True).order_by("-from_on")
        rows: Any = super().get_queryset(request)
        homes: QuerySet[Any] = rows.annotate(where_now=Subquery(now.values("address")[:1]))
        return homes

    def archive(self, request: HttpRequest, rows: QuerySet[Any]) -> int:
        """Archive the homes where nobody is booked; tell of the others which visits are."""
        by = cast(User, request.user)
        return self.do_each(request, rows.filter(archived_at__isnull=True), lambda home: archive_home(home, by=by))

    @admin.display(description=_("address"), ordering="where_now")
    def address_now(self, home: Any) -> str | None:
        """Where the home stands now."""
        address: str | None = home.where_now
        return address


@admin.register(Siting)
class SitingAdmin(VersionedAdmin):
    list_display = ["home", "address", "from_on", "to_on"]
    list_filter = [("to_on", admin.EmptyFieldListFilter)]
    list_select_related = ["home"]
    autocomplete_fields = ["home"]
    search_fields = ["home__code", "home__name", "address"]
    ordering = ["home__code", "-from_on"]
