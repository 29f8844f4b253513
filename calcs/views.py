"""Pages that need both worlds, what was measured and what it means: a home, and a survey."""

from uuid import UUID

from django.db.models import OuterRef, Prefetch, QuerySet, Subquery
from django.db.models.fields.json import KeyTextTransform
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render

from calcs.models import Answer
from jobs.models import Connection, Home, HomeContact, Point, Siting, Strap
from jobs.views import SignedInRequest, page
from surveys.models import Survey


@page
def home(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """A home: where it stands, what was measured there, and what is under it."""
    found = get_object_or_404(_with_all(Home.objects.visible_to(request.user)), pk=pk)
    return render(request, "calcs/home.html", {"home": found, "unit": request.user.length_unit})


def _with_all(homes: QuerySet[Home]) -> QuerySet[Home]:
    """Return homes with everything that their page lists, in a fixed number of queries."""
    marks = Point.objects.standing().filter(benchmark__retired_on__isnull=True, benchmark__isnull=False)
    straps = Strap.objects.standing().select_related("point").order_by("code")
    sitings = Siting.objects.order_by("-from_on").prefetch_related(
        Prefetch("surveys", _surveys_with_verdict(), to_attr="newest_surveys"),
        Prefetch("points", marks.select_related("benchmark").order_by("label"), to_attr="marks"),
        Prefetch("connections", Connection.objects.standing().order_by("code"), to_attr="standing_connections"),
        Prefetch("straps", straps, to_attr="standing_straps"),
    )
    contacts = HomeContact.objects.filter(to_on__isnull=True).select_related("customer")
    return homes.prefetch_related(
        Prefetch("sitings", sitings, to_attr="places"), Prefetch("contacts", contacts, to_attr="present_contacts")
    )


def _surveys_with_verdict() -> QuerySet[Survey]:
    """Return surveys, newest first, with the verdict on how level the home was (none while it is not known)."""
    flatness = Answer.objects.filter(survey=OuterRef("pk"), kind="flatness")
    verdict = flatness.annotate(verdict=KeyTextTransform("verdict", "calculation__result")).values("verdict")[:1]
    return Survey.objects.select_related("author").annotate(verdict=Subquery(verdict)).order_by("-started_at", "-pk")
