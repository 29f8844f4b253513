"""Drain runs on a page: those of a home with their places and falls, and forms to add a run or further places."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db import IntegrityError, transaction
from django.http import Http404, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from jobs.csv_files.values import NotAllowed, column_of
from jobs.errors import DomainError
from jobs.field_work import keep_once
from jobs.history.words import field_word
from jobs.models import DrainNode, DrainRun, Siting
from jobs.models.base import Act, new_key
from jobs.photo_pages import need_standing_home
from jobs.refusals import refusal_of
from jobs.rights import may, need
from jobs.services import add_drain_node
from jobs.views import SignedInRequest, page

ROWS = 6  # places at once; more are added afterwards
OF_RUN = ("code", "diameter_in", "rehang_min", "note")
OF_NODE = ("at_ft", "invert_in", "x_ft", "y_ft")
_WORDS = {  # short, as they stand over narrow boxes
    "invert_in": gettext_lazy("pipe bottom"),
    "x_ft": gettext_lazy("along the home"),
    "y_ft": gettext_lazy("from the left"),
}
_ENDS = {"_ft": ", ft", "_in": ", in", "_min": ", min"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """One box of the form, with what was typed in it and what is wrong with that."""

    name: str
    word: str
    typed: str
    error: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """A place on a run, and how much the pipe falls from it to the next one [in/ft]; the last has none."""

    node: DrainNode
    fall: str


@page
def drains(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The drain runs of a home at one place; a form for a new one, and one for further places of each."""
    siting = get_object_or_404(Siting.objects.visible_to(request.user).select_related("home"), pk=pk)
    wrong: dict[str, str] = {}
    if request.method == "POST":
        need(request.user, Act.ADD, DrainRun)
        need_standing_home(siting)
        wrong = _kept(request.POST, siting)
        if not wrong:
            messages.success(request, _("The drain run is kept."))
            return redirect("drains", pk=siting.pk)
    return render(request, "jobs/drains.html", _shown(request, siting, wrong), status=400 if wrong else 200)


def _shown(request: SignedInRequest, siting: Siting, wrong: Mapping[str, str]) -> dict[str, Any]:
    sent = request.POST
    runs = list(DrainRun.objects.standing().filter(siting=siting).prefetch_related("nodes").order_by("code"))
    asked = sent.get("run", "")
    may_add = siting.home.archived_at is None and may(request.user, Act.ADD, DrainRun)
    typed_new, nothing = (QueryDict(), sent) if asked else (sent, QueryDict())
    return {
        "siting": siting,
        "runs": [
            {
                "run": run,
                "stretches": _stretches(run),
                "rows": _rows(nothing if str(run.pk) == asked else QueryDict(), wrong),
                "wrong": wrong if str(run.pk) == asked else {},
            }
            for run in runs
        ],
        "boxes": [_box(DrainRun, name, name, typed_new, wrong) for name in OF_RUN],
        "has_cleanout": bool(typed_new.get("has_cleanout")),
        "rows": _rows(typed_new, wrong),
        "wrong": {} if asked else wrong,
        "heads": [_word(DrainNode, name) for name in OF_NODE],
        "id": new_key(),
        "yes_no": f"{_('yes')},",
        "may_add": may_add,
        "unit": request.user.length_unit,
    }


def _stretches(run: DrainRun) -> list[Stretch]:
    nodes = list(run.nodes.all())
    falls = [
        f"{(upper.invert_in - lower.invert_in) / (lower.at_ft - upper.at_ft):.2f}".replace("-", "\N{MINUS SIGN}")
        for upper, lower in pairwise(nodes)
    ]
    return [Stretch(node=node, fall=fall) for node, fall in zip(nodes, [*falls, ""], strict=False)]


def _rows(sent: QueryDict, wrong: Mapping[str, str]) -> list[dict[str, Any]]:
    return [
        {
            "number": number,
            "boxes": [_box(DrainNode, name, f"{name}-{number}", sent, wrong) for name in OF_NODE],
            "is_on_ground": bool(sent.get(f"is_on_ground-{number}")),
            "error": wrong.get(f"row-{number}", "") if sent else "",
        }
        for number in range(1, ROWS + 1)
    ]


def _box(model: Any, field: str, name: str, sent: QueryDict, wrong: Mapping[str, str]) -> Box:
    typed = sent.get(name, "")
    return Box(name=name, word=_word(model, field), typed=typed, error=wrong.get(name, "") if sent else "")


def _word(model: Any, name: str) -> str:
    return str(_WORDS.get(name) or field_word(model, name)) + next(
        (unit for end, unit in _ENDS.items() if name.endswith(end)), ""
    )


# -- keeping -------------------------------------------------------------------------------------------------


def _kept(sent: QueryDict, siting: Siting) -> dict[str, str]:
    """Keep a run with its places, or further places of one: whole or not at all; return what is wrong, by box."""
    wrong: dict[str, str] = {}
    filled = [n for n in range(1, ROWS + 1) if any(sent.get(f"{name}-{n}", "").strip() for name in OF_NODE)]
    rows = {number: _read(DrainNode, OF_NODE, sent, wrong, row=f"-{number}") for number in filled}
    run = _run_in(sent, siting, wrong)
    if not wrong and sent.get("run") and not rows:
        wrong[""] = _("Fill in at least one place.")
    if wrong:
        return wrong
    box = ""
    try:
        with transaction.atomic():
            if not sent.get("run") and not keep_once(run, compared=["siting", "code", "diameter_in"]):
                return {}  # pressed twice
            for number, fields in rows.items():
                box = f"row-{number}"
                add_drain_node(run=run, fields={**fields, "is_on_ground": bool(sent.get(f"is_on_ground-{number}"))})
    except DomainError as error:
        return _at_boxes(error.fields or {"": error.message}, box)
    except IntegrityError as error:
        refusal = refusal_of(error)
        if refusal is None:
            raise
        _code, field, sentence = refusal
        return _at_boxes({field: sentence}, box)
    return {}


def _at_boxes(sentences: Mapping[str, str], row: str) -> dict[str, str]:
    """Put sentences about a place at its row, those about the run at its boxes."""
    if row:
        return {row: " ".join(sentences.values())}
    return {name if name in OF_RUN else "": sentence for name, sentence in sentences.items()}


def _run_in(sent: QueryDict, siting: Siting, wrong: dict[str, str]) -> DrainRun:
    asked = sent.get("run", "")
    try:
        key = UUID(asked or sent.get("id", ""))
    except ValueError:
        raise Http404 from None
    if asked:
        return get_object_or_404(DrainRun.objects.standing().filter(siting=siting), pk=key)
    fields = _read(DrainRun, OF_RUN, sent, wrong)
    return DrainRun(pk=key, siting=siting, has_cleanout=bool(sent.get("has_cleanout")), **fields)


def _read(
    model: Any, names: tuple[str, ...], sent: QueryDict, wrong: dict[str, str], *, row: str = ""
) -> dict[str, Any]:
    """Read boxes; what can't be read is told in ``wrong``."""
    values: dict[str, Any] = {}
    for name in names:
        column, typed = column_of(model, name), sent.get(name + row, "").replace("\x00", "").strip()
        if not typed:
            if not model._meta.get_field(name).blank:
                wrong[name + row] = _("Give %(allowed)s.") % {"allowed": column.allowed}
            continue
        try:
            values[name] = column.read(typed)
        except NotAllowed as refused:
            wrong[name + row] = str(refused)
    return values
