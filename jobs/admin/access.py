"""How people get in: devices, browsers, invitations, and links for outsiders. Secrets are shown nowhere."""

from functools import partial
from typing import Any, cast

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from jobs import accounts, links
from jobs.admin_desk import LookedAtAdmin
from jobs.models import BrowserSession, DeviceToken, Invitation, SignedLink, SignedLinkUse, User
from jobs.services import revoke_token

REVOKE = _("Revoke: no longer good from now on")


class RevocableAdmin(LookedAtAdmin):
    """Access that was given once, with its secret shown once: from here it can only be taken back."""

    actions = ["revoke"]

    def has_revoke_permission(self, request: HttpRequest) -> bool:
        """A manager takes back any, others what their roles let them change."""
        return super(LookedAtAdmin, self).has_change_permission(request)

    @admin.action(description=REVOKE, permissions=["revoke"])
    def revoke(self, request: HttpRequest, queryset: QuerySet[Any]) -> None:
        """Have the chosen ones revoked; those that are revoked already stay so."""
        take_back = partial(self.take_back, by=cast(User, request.user))
        self.tell_done(request, self.do_each(request, queryset.filter(revoked_at__isnull=True), take_back))

    def take_back(self, row: Any, *, by: User) -> None:
        """Revoke one."""
        raise NotImplementedError


@admin.register(DeviceToken)
class DeviceTokenAdmin(RevocableAdmin):
    list_display = ["name", "user", "created_at", "expires_at", "revoked_at", "last_used_at"]
    list_filter = [("revoked_at", admin.EmptyFieldListFilter), "expires_at"]
    list_select_related = ["user"]
    search_fields = ["name", "user__username", "user__first_name", "user__last_name"]
    exclude = ["digest"]

    def get_queryset(self, request: HttpRequest) -> QuerySet[DeviceToken]:
        """Show a person the own devices, a manager everybody's."""
        return DeviceToken.objects.visible_to(request.user).order_by("-id")

    def take_back(self, row: DeviceToken, *, by: User) -> None:
        """Sign the device out."""
        revoke_token(token=row)


@admin.register(Invitation)
class InvitationAdmin(RevocableAdmin):
    list_display = ["email", "roles", "invited_by", "created_at", "expires_at", "accepted_at", "revoked_at"]
    list_filter = [
        ("accepted_at", admin.EmptyFieldListFilter),
        ("revoked_at", admin.EmptyFieldListFilter),
        "expires_at",
    ]
    list_select_related = ["invited_by"]
    search_fields = ["email", "invited_by__username"]
    exclude = ["digest"]

    def take_back(self, row: Invitation, *, by: User) -> None:
        """Take the invitation back."""
        accounts.revoke(row)


@admin.register(SignedLink)
class SignedLinkAdmin(RevocableAdmin):
    list_display = ["home", "holder", "audience", "created_by", "created_at", "expires_at", "revoked_at"]
    list_filter = ["audience", ("revoked_at", admin.EmptyFieldListFilter), "expires_at"]
    list_select_related = ["home", "created_by"]
    search_fields = ["home__code", "home__name", "holder"]
    exclude = ["digest"]

    def take_back(self, row: SignedLink, *, by: User) -> None:
        """Have the link open no more."""
        links.take_back(row, by=by)


@admin.register(SignedLinkUse)
class SignedLinkUseAdmin(LookedAtAdmin):
    list_display = ["opened_at", "link", "address", "browser"]
    list_filter = ["opened_at"]
    list_select_related = ["link__home"]
    search_fields = ["link__home__code", "link__holder"]


@admin.register(BrowserSession)
class BrowserSessionAdmin(LookedAtAdmin):
    """Who is signed in where. The key of a row would let whoever reads it in, so that no row opens or is chosen."""

    list_display = ["user", "browser", "started_at", "last_seen_at", "expire_date"]
    list_display_links = None
    list_filter = ["last_seen_at"]
    list_select_related = ["user"]
    search_fields = ["user__username", "user__first_name", "user__last_name", "browser"]
    ordering = ["-last_seen_at"]
    actions = None

    def get_queryset(self, request: HttpRequest) -> QuerySet[BrowserSession]:
        """Leave what is in the sessions where it is."""
        return super().get_queryset(request).defer("session_data")

    def has_view_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Show the list to managers, and no single row."""
        return obj is None and getattr(request.user, "is_manager", False)
