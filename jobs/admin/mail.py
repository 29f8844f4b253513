"""Mail to customers, its words, and who has a calendar."""

from functools import partial
from typing import Any, cast

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from jobs import calendar_feed, mails
from jobs.admin.access import RevocableAdmin
from jobs.admin_base import VersionedAdmin
from jobs.admin_desk import LookedAtAdmin
from jobs.models import CalendarFeed, Mail, MailText, User


@admin.register(Mail)
class MailAdmin(LookedAtAdmin):
    list_display = ["made_at", "kind", "customer", "to_address", "state", "tries", "next_try_at", "sent_at", "error"]
    list_filter = ["state", "kind", "language", "made_at"]
    list_select_related = ["customer"]
    search_fields = ["to_address", "customer__name", "siting__home__code", "subject", "error"]
    actions = ["try_again", "stop"]

    def has_send_permission(self, request: HttpRequest) -> bool:
        """Whoever may change mail says what becomes of it."""
        return super(LookedAtAdmin, self).has_change_permission(request)

    @admin.action(description=_("Try again"), permissions=["send"])
    def try_again(self, request: HttpRequest, queryset: QuerySet[Mail]) -> None:
        """Have the chosen ones tried at once."""
        by = cast(User, request.user)
        self.tell_done(request, self.do_each(request, queryset, partial(mails.try_again, by=by)))

    @admin.action(description=_("Don't send"), permissions=["send"])
    def stop(self, request: HttpRequest, queryset: QuerySet[Mail]) -> None:
        """Have the chosen ones not sent."""
        by = cast(User, request.user)
        self.tell_done(request, self.do_each(request, queryset, partial(mails.stop, by=by)))


@admin.register(MailText)
class MailTextAdmin(VersionedAdmin):
    list_display = ["kind", "language", "subject"]
    list_filter = ["kind", "language"]
    search_fields = ["subject", "body"]


@admin.register(CalendarFeed)
class CalendarFeedAdmin(RevocableAdmin):
    list_display = ["person", "created_at", "revoked_at", "read_at"]
    list_filter = [("revoked_at", admin.EmptyFieldListFilter), "read_at"]
    list_select_related = ["person"]
    search_fields = ["person__username", "person__first_name", "person__last_name"]
    exclude = ["digest"]

    def get_queryset(self, request: HttpRequest) -> QuerySet[CalendarFeed]:
        """Show a person the own calendar, a manager everybody's."""
        return CalendarFeed.objects.visible_to(request.user).order_by("-id")

    def take_back(self, row: Any, *, by: User) -> None:
        """Have the address answer no more."""
        calendar_feed.take_back(row.person)
