"""Pages that need both worlds, what was measured and what it means: a home, and a survey."""

from uuid import UUID

from django.contrib import messages
from django.db.models import Exists, OuterRef, Prefetch, QuerySet, Subquery
from django.db.models.fields.json import KeyTextTransform
from django.http import HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from calcs import services
from calcs.drawings import LevelMap, draw_level_map
from calcs.models import Answer, Approval, Due
from calcs.set_aside_page import waiting_for
from calcs.stack_drawings import draw_stack
from calcs.survey_page import gather, progress_of, steps_of
from jobs.assessment_pages import current_assessment_told
from jobs.hazard_pages import hazards_of
from jobs.inspection_stops import open_stops
from jobs.models import (
    Connection,
    DrainRun,
    Hazard,
    Home,
    HomeContact,
    Job,
    Photo,
    Point,
    SignedLink,
    Siting,
    Strap,
    User,
    Visit,
)
from jobs.models.base import Act
from jobs.paper_pages import papers_told
from jobs.rights import may
from jobs.views import SignedInRequest, page
from surveys.models import Reading, Survey

PHOTOS_SHOWN = 6
VISITS_SHOWN = 6


@require_safe
@page
def home(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """A home: where it stands, what was measured there, and what is under it."""
    found = get_object_or_404(_with_all(Home.objects.visible_to(request.user), request.user), pk=pk)
    current = next((place for place in found.places if place.to_on is None), None)  # type: ignore[attr-defined]  # prefetched
    context = {
        "home": found,
        "current": current,
        **hazards_of(found, request.user),
        **current_assessment_told(current),
        **papers_told(current, request.user),
        "unit": request.user.length_unit,
        "set_aside": waiting_for(request.user).count(),
        "may_see_contacts": may(request.user, Act.SEE, HomeContact),
        "jobs": Job.objects.visible_to(request.user).filter(home=found).select_related("call_back_of"),
        "may_see_jobs": may(request.user, Act.SEE, Job),
        "may_add_job": found.archived_at is None and may(request.user, Act.ADD, Job),
        "may_see_links": may(request.user, Act.SEE, SignedLink),
        "may_see_record": may(request.user, Act.SEE, Due),
    }
    return render(request, "calcs/home.html", context)


def _with_all(homes: QuerySet[Home], reader: User) -> QuerySet[Home]:
    """Return homes with everything that their page lists for a reader, in a fixed number of queries."""
    marks = Point.objects.standing().filter(benchmark__retired_on__isnull=True, benchmark__isnull=False)
    straps = Strap.objects.standing().select_related("point").order_by("code")
    drains = DrainRun.objects.standing().prefetch_related("nodes").order_by("code")
    photos = Photo.objects.standing().select_related("author", "finding").order_by("-pk")
    visits = Visit.objects.visible_to(reader).select_related("lead").order_by("-starts_at", "-pk")
    approvals = Approval.objects.visible_to(reader).standing().select_related("approved_by")
    sitings = Siting.objects.order_by("-from_on").prefetch_related(
        Prefetch("surveys", _surveys_with_verdict(), to_attr="newest_surveys"),
        Prefetch("points", marks.select_related("benchmark").order_by("label"), to_attr="marks"),
        Prefetch("connections", Connection.objects.standing().order_by("code"), to_attr="standing_connections"),
        Prefetch("straps", straps, to_attr="standing_straps"),
        Prefetch("drain_runs", drains, to_attr="standing_drain_runs"),
        Prefetch("visits", visits[:VISITS_SHOWN], to_attr="newest_visits"),
        Prefetch("approvals", approvals, to_attr="standing_approvals"),
        Prefetch("photos", photos[:PHOTOS_SHOWN], to_attr="newest_photos"),
    )
    contacts = HomeContact.objects.filter(to_on__isnull=True).select_related("customer")
    return homes.prefetch_related(
        Prefetch("sitings", sitings, to_attr="places"), Prefetch("contacts", contacts, to_attr="present_contacts")
    )


def _surveys_with_verdict() -> QuerySet[Survey]:
    """Return surveys, newest first, with the verdict on how level the home was and whether corrections are open.

    There is no verdict while it is not known.
    """
    flatness = Answer.objects.filter(survey=OuterRef("pk"), kind="flatness")
    verdict = flatness.annotate(verdict=KeyTextTransform("verdict", "calculation__result")).values("verdict")[:1]
    to_settle = Exists(Reading.objects.contested().filter(survey=OuterRef("pk")))
    surveys = Survey.objects.select_related("author").annotate(verdict=Subquery(verdict), has_to_settle=to_settle)
    return surveys.order_by("-started_at", "-pk")


# -- a survey ------------------------------------------------------------------------------------------------


@require_safe
@page
def survey(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """A survey: how level the home is, what is doubtful, and the ways to lift it."""
    found = gather(
        survey_of(request, pk),
        unit=request.user.length_unit,
        option=request.GET.get("option", ""),
        datum=request.GET.get("datum", ""),
    )
    context = {
        "page": found,
        "survey": found.survey,
        "hazards": Hazard.objects.open().filter(home=found.survey.siting.home_id).order_by("kind"),
        "stops": open_stops(found.survey.siting),
        "set_aside": waiting_for(request.user).count(),
        "maps": [drawn(level_map) for level_map in found.maps],
        "work": [
            (work, svg(draw_stack(work.stack.picture)) if work.stack and work.stack.picture else "")
            for work in found.work
        ],
    }
    return render(request, "calcs/survey.html", context)


@require_safe
@page
def survey_progress(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """How far the background work has come: a small answer that the page asks for again and again."""
    found = survey_of(request, pk)
    progress = progress_of(found, steps_of(found))
    return JsonResponse(
        {
            "state": progress.state,
            "words": progress.words,
            "stamp": progress.stamp,
            "steps": progress.steps,
            "steps_done": progress.steps_done,
        }
    )


@require_POST
@page
def survey_compute(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Ask for the calculations of a survey (again)."""
    found = survey_of(request, pk)
    services.request_calculations(found, by=request.user)
    messages.success(request, _("Asked for. The page shows the answers as they come."))
    return redirect("survey", pk=found.pk)


def survey_of(request: SignedInRequest, pk: UUID) -> Survey:
    """Return a survey with its home; 404 where this person may not see it."""
    surveys = Survey.objects.visible_to(request.user).select_related("siting__home", "author")
    return get_object_or_404(surveys, pk=pk)


def drawn(level_map: LevelMap) -> dict[str, SafeString | str]:
    """Draw a map both ways; the style sheet shows the one that fits the screen."""
    return {
        "title": level_map.title,
        "flat": svg(draw_level_map(level_map)),
        "turned": svg(draw_level_map(level_map, is_turned=True)),
    }


def svg(drawing: str) -> SafeString:
    """Let a drawing stand on a page as it is."""
    return mark_safe(drawing)  # noqa: S308 - the sheet that drawings are made on escapes every text
