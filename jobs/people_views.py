"""Pages of the manager about people: who works here, who is invited, what they may do, and erasing."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from jobs import accounts, erasing, lockout
from jobs.account_forms import EraseForm, InvitationForm, PersonForm, put_error
from jobs.editing import saved
from jobs.erasing_jobs import ERASED_CALLER
from jobs.errors import DomainError
from jobs.models import Customer, Invitation, Job, Role, User, Visit
from jobs.rights import is_manager
from jobs.views import SignedInRequest, page

INVITATIONS_SHOWN = 50


def need_manager(user: User) -> None:
    """Refuse everybody but a manager."""
    if not is_manager(user):
        raise PermissionDenied


def _person(request: SignedInRequest, pk: UUID) -> User:
    """Return a person whom the one who asks may change."""
    person = get_object_or_404(User, pk=pk)
    if person.erased_at is not None:
        raise Http404
    try:
        accounts.check_may_change(by=request.user, person=person)
    except DomainError as error:
        raise PermissionDenied(error.message) from error
    return person


@require_safe
@page
def people(request: SignedInRequest) -> HttpResponse:
    """Everybody who works here or is invited."""
    need_manager(request.user)
    return _people(request, InvitationForm())


def _people(request: SignedInRequest, form: InvitationForm, *, status: int = 200, **more: Any) -> HttpResponse:
    invited = Invitation.objects.filter(accepted_at__isnull=True).select_related("invited_by").order_by("-id")
    context = {
        "people": [
            {"person": person, "roles": words_of(person.roles)}
            for person in User.objects.filter(erased_at__isnull=True).order_by("-is_active", "first_name", "username")
        ],
        "invitations": [
            {
                "row": row,
                "roles": words_of(row.roles),
                "state": row.state_now().label,
                "is_open": row.state_now() == Invitation.State.OPEN,
            }
            for row in invited[:INVITATIONS_SHOWN]
        ],
        "form": form,
        **more,
    }
    return render(request, "jobs/people.html", context, status=status)


def words_of(roles: list[str]) -> str:
    """Return roles as people say them."""
    return ", ".join(str(Role(role).label) for role in roles) or _("no role")


@require_POST
@never_cache
@page
def invite(request: SignedInRequest) -> HttpResponse:
    """Invite somebody; the link is shown this once, and sent where there is mail."""
    need_manager(request.user)
    form = InvitationForm(request.POST)
    if form.is_valid():
        try:
            made, secret = accounts.invite(by=request.user, **form.cleaned_data)
        except DomainError as error:
            put_error(form, error)
        else:
            link = request.build_absolute_uri(reverse("invitation", args=[secret]))
            is_sent = accounts.mail_invitation(made, link)
            return _people(request, InvitationForm(), link=link, link_for=made.email, is_sent=is_sent)
    return _people(request, form, status=400)


@require_POST
@page
def revoke_invitation(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Take an invitation back."""
    need_manager(request.user)
    found = get_object_or_404(Invitation, pk=pk)
    accounts.revoke(found)
    messages.success(request, _("The invitation of %(email)s no longer holds.") % {"email": found.email})
    return redirect("people")


@page
def person(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """One person: what they may do, where they are signed in, what was locked."""
    need_manager(request.user)
    found = _person(request, pk)
    form = PersonForm(request.POST or None, instance=found)
    if request.method == "POST" and form.is_valid():
        try:
            if saved(form):
                messages.success(request, _("Kept."))
                return redirect("person", pk=pk)
        except DomainError as error:
            put_error(form, error)
    return _show_person(request, found, form=form, status=400 if form.errors else 200)


def _booked(person: User) -> QuerySet[Visit]:
    return Visit.objects.to_come().naming(person).select_related("siting__home").order_by("starts_at")


def _show_person(request: SignedInRequest, found: User, *, status: int = 200, **more: Any) -> HttpResponse:
    kept = User.objects.get(pk=found.pk)  # a form that was refused has changed the other
    context = {
        "person": kept,
        "form": PersonForm(instance=kept),
        "browsers": kept.browser_sessions.count(),
        "devices": kept.device_tokens.valid().count(),
        "locks": lockout.locks_of(kept),
        "left_booked": [] if kept.is_active else _booked(kept),
        **more,
    }
    return render(request, "jobs/person.html", context, status=status)


@require_POST
@page
def sign_out(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """End all browsers and devices of a person: a lost phone."""
    need_manager(request.user)
    found = _person(request, pk)
    found.sign_out_everywhere()
    messages.success(request, _("%(person)s is signed out everywhere.") % {"person": found})
    return redirect("person", pk=pk)


@require_POST
@page
def unlock(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Let somebody try again at once who typed too many wrong passwords."""
    need_manager(request.user)
    found = _person(request, pk)
    lockout.unlock(found)
    messages.success(request, _("%(person)s may try again.") % {"person": found})
    return redirect("person", pk=pk)


@require_POST
@never_cache
@page
def password_link(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Make a link at which a person sets a new password; shown this once, and sent where there is mail."""
    need_manager(request.user)
    found = _person(request, pk)
    link = request.build_absolute_uri(accounts.password_link(found))
    return _show_person(request, found, link=link, is_sent=accounts.mail_password_link(found, link))


@page
def erase_person(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Erase what names a person of the company; the name has to be typed."""
    need_manager(request.user)
    found = _person(request, pk)

    def erase(typed: str) -> None:
        erasing.erase_person(person=found, by=request.user, typed_name=typed)

    return _erase(request, erase, {"whose": found, "is_person": True}, back=reverse("people"))


@page
def erase_customer(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Erase what names a customer; the name has to be typed."""
    need_manager(request.user)
    found = get_object_or_404(Customer, pk=pk, erased_at__isnull=True)

    def erase(typed: str) -> None:
        erasing.erase_customer(customer=found, typed_name=typed)

    context = {"whose": found, "homes": erasing.homes_of(found), "jobs": found.jobs.order_by("number")}
    return _erase(request, erase, context, back=reverse("home-list"))


@page
def erase_caller(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Erase who called about a job; the name has to be typed."""
    need_manager(request.user)
    found = get_object_or_404(Job.objects.exclude(caller_name__in=("", ERASED_CALLER)), pk=pk)

    def erase(typed: str) -> None:
        erasing.erase_caller(job=found, typed_name=typed)

    return _erase(request, erase, {"whose": found.caller_name, "jobs": [found]}, back=reverse("job", args=[pk]))


def _erase(request: HttpRequest, erase: Any, context: dict[str, Any], *, back: str) -> HttpResponse:
    form = EraseForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            erase(form.cleaned_data["name"])
        except DomainError as error:
            put_error(form, error)
        else:
            messages.success(request, _("Erased. What was measured and done stays, without the name."))
            return redirect(back)
    return render(
        request, "jobs/erase.html", {"form": form, "back": back, **context}, status=400 if form.errors else 200
    )
