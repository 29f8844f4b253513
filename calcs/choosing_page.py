"""The page on which a plan is chosen: options side by side, what flatter would take, and what may be tried."""

from http import HTTPStatus
from uuid import UUID

from django.contrib import messages
from django.db import transaction
from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from calcs import services
from calcs.approving_pages import approving_of
from calcs.choosing import HEADS, Choosing, choosing_steps, gather
from calcs.curve_drawings import draw_curve
from calcs.models import Calculation, Trial
from calcs.survey_page import progress_of
from calcs.trial_forms import TrialForm
from calcs.views import drawn, survey_of, svg
from jobs.errors import DomainError
from jobs.models import Hazard
from jobs.models.base import Act
from jobs.rights import may, need, need_on
from jobs.views import SignedInRequest, page


@page
def plans(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """A survey's plans side by side; a form sent asks what a lift with other limits would take."""
    survey = survey_of(request, pk)
    if request.method != "POST":
        return _shown(request, pk)
    need(request.user, Act.ADD, Trial)
    form = TrialForm(request.POST, survey=survey, unit=request.user.length_unit)
    if not form.is_valid():
        return _shown(request, pk, form, status=HTTPStatus.BAD_REQUEST)
    try:
        with transaction.atomic():
            need_on(request.user, Act.ADD, services.request_trial(survey, form.changes(), by=request.user))
    except DomainError as error:
        if error.status == HTTPStatus.FORBIDDEN:
            raise
        form.put_error(error)
        return _shown(request, pk, form, status=error.status)
    messages.success(request, _("Asked for. What it would take is shown below as soon as it is computed."))
    return redirect(reverse("survey-plans", args=[pk]) + "#tried")


@require_safe
@page
def progress(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """How far the plans and what was tried have come: a small answer that the page asks for again and again."""
    survey = survey_of(request, pk)
    found = progress_of(survey, choosing_steps(survey))
    return JsonResponse({"state": found.state, "words": found.words, "stamp": found.stamp})


@require_POST
@page
def sure(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Ask for a plan that ends within every tolerance with the chance that the rules want."""
    survey = survey_of(request, pk)
    need(request.user, Act.ADD, Calculation)
    try:
        services.request_sure_plan(survey, by=request.user)
    except DomainError as error:
        return _shown(request, pk, refused=error.message, status=error.status)
    messages.success(request, _("Asked for. The plan becomes a column of its own as soon as it is computed."))
    return redirect("survey-plans", pk=pk)


def _shown(
    request: SignedInRequest, pk: UUID, form: TrialForm | None = None, *, refused: str = "", status: int = 200
) -> HttpResponse:
    survey, unit = survey_of(request, pk), request.user.length_unit
    found = gather(survey, unit=unit, option=request.GET.get("option", ""))
    may_try = found.flatness is not None and may(request.user, Act.ADD, Trial)
    context = {
        **(approving_of(found.plan, request.user) if found.plan else {}),
        "page": found,
        "survey": survey,
        "heads": HEADS,
        "refused": refused,
        "hazards": Hazard.objects.open().filter(home=survey.siting.home_id).order_by("kind"),
        "maps": [drawn(level_map) for level_map in found.maps],
        "curve": _curve(found),
        "may_ask": may(request.user, Act.ADD, Calculation),
        "form": (form or TrialForm(survey=survey, unit=unit)) if may_try or form else None,
    }
    return render(request, "calcs/plans.html", context, status=status)


def _curve(found: Choosing) -> dict[str, str]:
    if found.curve is None:
        return {}
    picture = found.curve.picture
    return {"flat": svg(draw_curve(picture)), "turned": svg(draw_curve(picture, is_turned=True))}
