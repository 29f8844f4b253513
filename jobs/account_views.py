"""Pages about one's own account: first start, invitation, passwords, and the browsers and devices signed in."""

import datetime
from typing import Any, cast
from uuid import UUID

from django.contrib import messages
from django.contrib.auth import login, update_session_auth_hash
from django.contrib.auth.views import PasswordResetConfirmView
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse, reverse_lazy
from django.utils import translation
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from jobs import accounts, browsers, calendar_feed, lockout, sessions
from jobs.account_forms import ChangePasswordForm, NewPersonForm, ResetPasswordForm, StartForm, put_error
from jobs.editing import saved
from jobs.errors import DomainError
from jobs.forms import AccountForm, DeviceForm
from jobs.models import CalendarFeed, Company, DeviceToken, Role, User
from jobs.services import revoke_token
from jobs.views import SignedInRequest, page, speak

BACKEND = "django.contrib.auth.backends.ModelBackend"


# -- signed out ----------------------------------------------------------------------------------------------------


@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
@sensitive_post_parameters()
def start(request: HttpRequest) -> HttpResponse:
    """Set a new instance up: the company and its first manager. Once; afterwards this page leads to the sign-in."""
    if not accounts.is_fresh():
        return redirect("sign-in")
    form = StartForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data
        company = Company(name=typed["company"], letterhead=typed["company"], time_zone=typed["time_zone"])
        try:
            manager = accounts.start(company=company, manager=form.person())
        except DomainError as error:
            put_error(form, error)
        else:
            messages.success(request, _("The service is set up. Invite your people, then add homes."))
            return _welcome(request, manager, "people")
    return render(request, "jobs/start.html", {"form": form}, status=400 if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
@sensitive_post_parameters()
def invitation(request: HttpRequest, secret: str) -> HttpResponse:
    """Let somebody who was invited choose a name and a password; the link works once."""
    found = accounts.find_invitation(secret)
    if found is None:
        return render(request, "jobs/link_is_old.html", status=404)
    form = NewPersonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            person = accounts.accept(secret=secret, person=form.person())
        except DomainError as error:
            put_error(form, error)
        else:
            return _welcome(request, person, "home-list")
    context = {
        "form": form,
        "invitation": found,
        "company": Company.objects.first(),
        "roles": _role_words(found.roles),
    }
    return render(request, "jobs/invitation.html", context, status=400 if form.errors else 200)


def _welcome(request: HttpRequest, person: User, to: str) -> HttpResponse:
    login(request, person, backend=BACKEND)
    return cast(HttpResponse, speak(redirect(to), person))


def _role_words(roles: list[str]) -> str:
    return ", ".join(str(Role(role).label) for role in roles)


@method_decorator(
    [require_http_methods(["GET", "HEAD", "POST"]), never_cache, sensitive_post_parameters()], name="dispatch"
)
class SetPassword(PasswordResetConfirmView):
    """Set a password by a link that the manager made: once, within a day."""

    template_name = "jobs/set_password.html"
    form_class = ResetPasswordForm
    success_url = reverse_lazy("sign-in")

    def form_valid(self, form: Any) -> HttpResponse:
        """Sign nobody in: whoever has the link still has to know the name."""
        answer = super().form_valid(form)
        lockout.unlock(form.user)
        messages.success(self.request, _("The new password holds. Sign in with it."))
        return answer

    def render_to_response(self, context: dict[str, Any], **kwargs: Any) -> HttpResponse:
        """Say so where a link is too old or was used."""
        if not self.validlink:
            return render(self.request, "jobs/link_is_old.html", status=404)
        return super().render_to_response(context, **kwargs)


# -- one's own account ---------------------------------------------------------------------------------------------


@page
def account(request: SignedInRequest) -> HttpResponse:
    """A person's language and unit, and where they are signed in."""
    form = AccountForm(request.POST or None, instance=request.user)
    if request.method == "POST" and form.is_valid() and saved(form):
        with translation.override(form.instance.language):  # of the page on which it is read
            messages.success(request, _("Kept."))
        return cast(HttpResponse, speak(redirect("account"), form.instance))
    return _account(request, form, DeviceForm())


def _account(
    request: SignedInRequest, form: AccountForm, device_form: DeviceForm, *, status: int = 200, **more: Any
) -> HttpResponse:
    context = {
        "form": form,
        "device_form": device_form,
        "roles": _role_words(request.user.roles),
        "browsers": [
            {
                "name": sessions.name_of(row),
                "words": browsers.in_words(row.browser),
                "row": row,
                "is_this": row.pk == request.session.session_key,
            }
            for row in sessions.sessions_of(request.user)
        ],
        "devices": DeviceToken.objects.valid().filter(user=request.user).order_by("-id"),
        "feed": CalendarFeed.objects.valid().filter(person=request.user).first(),
        "feed_holds": calendar_feed.holds_words(request.user),
        **more,
    }
    return render(request, "jobs/account.html", context, status=status)


@sensitive_post_parameters()
@page
def password(request: SignedInRequest) -> HttpResponse:
    """A new password: ends all other browsers and every device."""
    form = ChangePasswordForm(request.user, request.POST or None)
    if request.method == "POST" and form.is_valid():
        update_session_auth_hash(request, form.save())
        messages.success(request, _("The new password holds. Everywhere else you are signed out."))
        return redirect("account")
    return render(request, "jobs/password.html", {"form": form}, status=400 if form.errors else 200)


@require_POST
@page
def end_browser(request: SignedInRequest) -> HttpResponse:
    """Sign one browser out, or all but this one."""
    if request.POST.get("which") == "others":
        sessions.end_other_sessions(user=request.user, current=request.session.session_key)
        messages.success(request, _("All other browsers are signed out."))
    elif sessions.end_session(user=request.user, name=request.POST.get("which", "")):
        messages.success(request, _("That browser is signed out."))
    else:
        raise Http404
    return redirect("account")


@require_POST
@never_cache
@page
def add_device(request: SignedInRequest) -> HttpResponse:
    """Give a phone or program a token of its own; it is shown this once."""
    form = DeviceForm(request.POST)
    own = AccountForm(instance=request.user)
    if not form.is_valid():
        return _account(request, own, form, status=400)
    lifetime = datetime.timedelta(days=form.cleaned_data["days"])
    token, secret = DeviceToken.objects.issue(user=request.user, name=form.cleaned_data["name"], lifetime=lifetime)
    return _account(request, own, DeviceForm(), issued=token, secret=secret)


@require_POST
@page
def revoke_device(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Sign a device out for good."""
    token = get_object_or_404(DeviceToken.objects.filter(user=request.user), pk=pk)
    revoke_token(token=token)
    messages.success(request, _("%(device)s is signed out.") % {"device": token.name})
    return redirect("account")


@require_POST
@never_cache
@page
def make_calendar(request: SignedInRequest) -> HttpResponse:
    """Make the address at which a calendar program reads one's visits, shown this once; an older one ends."""
    _feed, secret = calendar_feed.issue(request.user)
    address = request.build_absolute_uri(reverse("calendar", args=[secret]))
    # Under this scheme programs subscribe to it in place of taking it in once.
    subscribe = f"webcal:{address.partition(':')[2]}"
    own = AccountForm(instance=request.user)
    return _account(request, own, DeviceForm(), calendar_address=address, subscribe=subscribe)


@require_POST
@page
def take_back_calendar(request: SignedInRequest) -> HttpResponse:
    """Have the address of one's calendar answer no more."""
    calendar_feed.take_back(request.user)
    messages.success(request, _("The address of your calendar no longer answers."))
    return redirect("account")
