"""Whether a home is to be lifted at all: what stands in the way, who may go past it, and what to bear in mind.

A block keeps a plan from being approved. Most are the company's own risk, and the manager may go past one with a
signed reason. Nobody goes past an engineer's matter or one of life and limb: the cause has to go first, and then the
assessment, the hazard or the finding says so.

    code              told by                              past it   why
    verdict_engineer  verdict                              nobody    an engineer's: only an engineer can answer it
    verdict_decline   verdict                              manager   the company's own choice
    verdict_wait      verdict                              manager   the company's own choice of time
    gas               gas question of the assessment       nobody    life: one spark; a licensed gas fitter settles it
    gas_smell         open hazard                          nobody    life: as above
    bare_wiring       open hazard, bare or wet wiring      nobody    life: frame and jacks carry the current
    standing_water    tick of the assessment               nobody    life: no tick tells how near the feed it stands
    bent_beam         tick of the assessment               nobody    an engineer's: what it still carries is unknown
    tied_masonry      tick of the assessment               nobody    an engineer's: it comes down, or holds the home
    stop_finding      newest finding or strap check of a   manager   a crew's grade; what endangers people is noted as
                      thing, graded stop                             a hazard, and has its own code here
    active_leak       tick of the assessment               manager   the home settles again; nobody is hurt
    wet_ground        open hazard                          manager   jacks need a firm base, pads and boards may do;
                                                                     beside bare wire that wire's own block holds
    soft_ground       open hazard                          manager   as above
    frozen_soil       soil                                 manager   drops at the thaw; nobody is hurt
    swollen_clay      soil                                 manager   sinks in the dry season; nobody is hurt
    roof_snow         tick of the assessment               manager   heavier than planned: shovel it, or wait
    wind_forecast     tick of the assessment               manager   straps can stay tight, work can be moved
    foundation_letter mark of the home                     manager   the letter may be void: the owner's money
    loan_pending      tick of the assessment               manager   as above
    land_refused      land                                 manager   between the owners and the company
    land_not_asked    land                                 manager   as above

Water that is not mended warns and does not block: what is dangerous about it has codes of its own, and the rest is a
lift that won't last. Other open hazards (dogs, rodents, sewage ...) are told at each visit with their cautions.
Frozen, swollen, snow, wind and the rest hold as of the assessment's day: when they are over, assess anew.
"""

import datetime
from collections.abc import Iterable
from dataclasses import dataclass

from django.db import models, transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from jobs.call_backs import problem_with_cause
from jobs.errors import DomainError
from jobs.models import Assessment, BlockOverride, Condition, DoorsWindows, Finding, Hazard, Siting, StrapCheck, User
from jobs.models.base import Act
from jobs.rights import need, need_on
from jobs.spoken import AND_MORE

REASON_AT_MOST = 500
STOPS_NAMED = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """One thing in the way: its words in the reader's language, and whether the manager has signed past it.

    ``is_absolute``: not even the manager may.
    """

    code: str
    words: str
    is_absolute: bool
    override: BlockOverride | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """What a code stands for."""

    words: Promise
    is_absolute: bool = False


# In the order in which they are told: what nobody goes past first.
BLOCKS: dict[str, Kind] = {
    "gas": Kind(words=_("gas: a smell, a leak or a hard pipe is not settled"), is_absolute=True),
    "gas_smell": Kind(words=_("hazard open: smell of gas"), is_absolute=True),
    "bare_wiring": Kind(words=_("hazard open: bare or wet wiring"), is_absolute=True),
    "standing_water": Kind(words=_("water stands under the home"), is_absolute=True),
    "verdict_engineer": Kind(words=_("verdict: an engineer first"), is_absolute=True),
    "bent_beam": Kind(words=_("a beam is bent: an engineer first"), is_absolute=True),
    "tied_masonry": Kind(words=_("masonry is tied to the home: an engineer first"), is_absolute=True),
    "verdict_decline": Kind(words=_("verdict: decline")),
    "verdict_wait": Kind(words=_("verdict: wait")),
    "stop_finding": Kind(words=_("found and graded stop: {what}")),
    "active_leak": Kind(words=_("something leaks")),
    "wet_ground": Kind(words=_("hazard open: wet ground, standing water")),
    "soft_ground": Kind(words=_("hazard open: soft ground")),
    "frozen_soil": Kind(words=_("the soil is frozen")),
    "swollen_clay": Kind(words=_("the clay is at its swollen peak")),
    "roof_snow": Kind(words=_("snow lies on the roof")),
    "wind_forecast": Kind(words=_("wind is forecast")),
    "foundation_letter": Kind(words=_("a foundation letter is on file: work on supports may void it")),
    "loan_pending": Kind(words=_("a sale or loan that asks for a foundation letter is pending")),
    "land_refused": Kind(words=_("the land owner refuses")),
    "land_not_asked": Kind(words=_("the land owner was not asked yet")),
}
_TICKS = {
    "gas": "has_gas_question",
    "standing_water": "has_standing_water",
    "bent_beam": "has_bent_beam",
    "tied_masonry": "has_tied_masonry",
    "active_leak": "has_active_leak",
    "roof_snow": "has_roof_snow",
    "wind_forecast": "has_wind_forecast",
    "loan_pending": "is_loan_pending",
}
_CHOICES: dict[str, tuple[str, str]] = {
    "verdict_engineer": ("verdict", Assessment.Verdict.ENGINEER),
    "verdict_decline": ("verdict", Assessment.Verdict.DECLINE),
    "verdict_wait": ("verdict", Assessment.Verdict.WAIT),
    "frozen_soil": ("soil", Assessment.Soil.FROZEN),
    "swollen_clay": ("soil", Assessment.Soil.SWOLLEN),
    "land_refused": ("land", Assessment.Land.REFUSED),
    "land_not_asked": ("land", Assessment.Land.NOT_ASKED),
}
_HAZARDS: dict[str, str] = {
    Hazard.Kind.GAS_SMELL: "gas_smell",
    Hazard.Kind.WIRING: "bare_wiring",
    Hazard.Kind.WET_GROUND: "wet_ground",
    Hazard.Kind.SOFT_GROUND: "soft_ground",
}


def standing_assessment(siting: Siting) -> Assessment | None:
    """Return the assessment that counts at a siting: the newest by its day; None where nobody has assessed it."""
    return assessments_of(siting).first()


def assessments_of(siting: Siting) -> models.QuerySet[Assessment]:
    """Return the assessments of a siting, the one that counts first."""
    rows = Assessment.objects.filter(siting=siting).select_related("siting__home", "author", "visit")
    return rows.order_by("-assessed_on", "-pk")


# -- what stands in the way ------------------------------------------------------------------------------------


def blocks_of(assessment: Assessment) -> tuple[Block, ...]:
    """Return all that keeps a plan from being approved, those that the manager has signed past too."""
    stops = _stops(assessment.siting)
    hazards = {
        _HAZARDS[kind]: since
        for kind, since in Hazard.objects.open()
        .filter(home=assessment.siting.home_id, kind__in=_HAZARDS)
        .order_by("received_at")
        .values_list("kind", "received_at")
    }
    found: dict[str, datetime.datetime | None] = dict.fromkeys(_assessed(assessment))
    found |= hazards
    if stops:
        found["stop_finding"] = max(stop.received_at for stop in stops)
    signed = {one.code: one for one in assessment.overrides.select_related("signed_by")} if found else {}
    return tuple(_block(code, found[code], signed.get(code), stops) for code in BLOCKS if code in found)


def open_blocks(assessment: Assessment) -> tuple[Block, ...]:
    """Return the blocks that nobody has signed past."""
    return tuple(block for block in blocks_of(assessment) if block.override is None)


def _assessed(assessment: Assessment) -> Iterable[str]:
    yield from (code for code, name in _TICKS.items() if getattr(assessment, name))
    yield from (code for code, (name, value) in _CHOICES.items() if getattr(assessment, name) == value)
    if assessment.siting.home.has_foundation_letter:
        yield "foundation_letter"


def _block(
    code: str, since: datetime.datetime | None, signed: BlockOverride | None, stops: Iterable[Finding | StrapCheck]
) -> Block:
    """Tell a block. What came in after the manager signed was not signed for: it blocks again."""
    kind = BLOCKS[code]
    holds = signed is not None and not kind.is_absolute and (since is None or since <= signed.signed_at)
    words = str(kind.words)
    if code == "stop_finding":
        words = words.format(what=_named([_what(stop) for stop in stops]))
    return Block(code=code, words=words, is_absolute=kind.is_absolute, override=signed if holds else None)


def _stops(siting: Siting) -> list[Finding | StrapCheck]:
    """Return what was graded stop when it was last looked at. What is on no one thing stands until it is archived."""
    things = ("point", "connection", "strap", "drain_run")
    rows = Finding.objects.standing().filter(siting=siting).select_related(*things).order_by("-noted_at", "-pk")
    newest: dict[tuple[object, ...], Finding] = {}
    for row in rows:
        thing = (*(getattr(row, f"{name}_id") for name in things), row.item)
        newest.setdefault(thing if any(thing) else (row.pk,), row)
    straps = StrapCheck.objects.filter(strap__siting=siting, strap__archived_at__isnull=True).select_related("strap")
    checks = straps.order_by("strap", "-noted_at", "-pk").distinct("strap")
    looked_at: list[Finding | StrapCheck] = [*newest.values(), *checks]
    return [row for row in looked_at if row.grade == Condition.STOP]


def _what(stop: Finding | StrapCheck) -> str:
    names = ("strap",) if isinstance(stop, StrapCheck) else ("point", "connection", "strap", "drain_run")
    thing = next((thing for name in names if (thing := getattr(stop, name))), None)
    return ": ".join(filter(None, (getattr(thing, "label", None) or getattr(thing, "code", ""), stop.text)))


def _named(names: list[str]) -> str:
    shown = "; ".join(names[:STOPS_NAMED])
    more = len(names) - STOPS_NAMED
    return gettext(AND_MORE).format(names=shown, count=more) if more > 0 else shown


# -- going past one ----------------------------------------------------------------------------------------------


def override_block(assessment: Assessment, code: str, by: User, reason: str) -> BlockOverride:
    """Keep the manager's signed reason for going past a block of the assessment that stands.

    Raises
    ------
    DomainError
        403 when ``by`` is no manager, 400 for a code or a reason that is none, 409 where nobody may go past the
        block, it does not block, it is signed already, or a newer assessment counts.
    Stale
        When somebody has changed the assessment since it was read.
    """
    need(by, Act.ADD, BlockOverride)
    reason = reason.strip()
    if code not in BLOCKS:
        raise _refused("code", gettext("Give one of: {kinds}.").format(kinds=", ".join(BLOCKS)), status=400)
    if not 0 < len(reason) <= REASON_AT_MOST:
        sentence = gettext("Say why, in at most {count} characters.").format(count=REASON_AT_MOST)
        raise _refused("reason", sentence, status=400)
    with transaction.atomic():
        Assessment.objects.select_for_update(no_key=True).get(pk=assessment.pk)
        assessment.check_unchanged()
        _check_overridable(assessment, code)
        override = BlockOverride(assessment=assessment, code=code, reason=reason, signed_by=by)
        override.save(force_insert=True)
        need_on(by, Act.ADD, override)
    return override


def _check_overridable(assessment: Assessment, code: str) -> None:
    if standing_assessment(assessment.siting) != assessment:
        raise _refused("assessment", gettext("A newer assessment counts: go by that one."))
    block = next((block for block in blocks_of(assessment) if block.code == code), None)
    if block is None:
        raise _refused("code", gettext("Nothing of this kind is in the way."))
    if block.is_absolute:
        raise _refused("code", gettext("Nobody goes past this one: it has to be settled first."))
    if assessment.overrides.filter(code=code).exists():
        raise _refused("code", gettext("This was signed for already. If more has come up since, assess anew."))


def _refused(field: str, sentence: str, *, status: int = 409) -> DomainError:
    return DomainError("invalid" if status == 400 else "blocked", sentence, fields={field: sentence}, status=status)


# -- an assessment by itself ---------------------------------------------------------------------------------------


def problems_of(assessment: Assessment) -> dict[str, str]:
    """Return by field what is wrong with an assessment that is about to be kept, beyond what the database holds."""
    problems = {}
    today = timezone.localdate()
    if assessment.assessed_on > today:
        problems["assessed_on"] = gettext("This day is still to come.")
    if assessment.cause == Assessment.Cause.WATER and assessment.water == Assessment.Water.NONE:
        problems["water"] = gettext("The cause is water: say whether it is mended.")
    if assessment.wait_until is not None and assessment.wait_until <= assessment.assessed_on:
        problems["wait_until"] = gettext("Wait until a day after the assessment.")
    if assessment.visit is not None and assessment.visit.siting_id != assessment.siting_id:
        problems["visit"] = gettext("This visit is to another home.")
    elif sentence := problem_with_cause(assessment):
        problems["cause"] = sentence
    return problems


def is_done_waiting(assessment: Assessment, on: datetime.date) -> bool:
    """Tell whether the day is there until which was to be waited: time to assess anew."""
    return assessment.wait_until is not None and assessment.wait_until <= on


def doors_not_tested(assessment: Assessment | None) -> bool:
    """Tell whether nobody has tried doors and windows, without which 'within' is only half of the test."""
    return assessment is None or assessment.doors_windows == DoorsWindows.NOT_TESTED


def doors_words(assessment: Assessment | None) -> str:
    """Say what 'within' lacks while doors and windows are not tested; nothing where they were (24 CFR 3285.6)."""
    return gettext("'Within' needs doors and windows tested: they were not.") if doors_not_tested(assessment) else ""


class Season(models.TextChoices):
    """Seasons of the northern hemisphere by whole months, as weather services count them (common practice)."""

    WINTER = "winter", _("winter")
    SPRING = "spring", _("spring")
    SUMMER = "summer", _("summer")
    FALL = "fall", _("fall")


def season_of(day: datetime.date) -> Season:
    """Return the season of a day: winter is December to February."""
    return tuple(Season)[day.month % 12 // 3]


def warnings_of(assessment: Assessment, on: datetime.date) -> tuple[str, ...]:
    """Return what to bear in mind on a day though it blocks nothing, a sentence each."""
    found: list[str] = []
    if is_done_waiting(assessment, on):
        found.append(gettext("The wait is over: look again and assess anew."))
    if assessment.water == Assessment.Water.NOT_CURED:
        found.append(gettext("The water is not mended: a lift won't last. Tell the owner in writing."))
    if is_on_clay(assessment) and assessment.soil in _EXTREMES:
        soil = assessment.get_soil_display()
        found.append(
            gettext(
                "Clay at an extreme ({soil}): one reading now shows the season as much as the settlement. "
                "Read again in another season before releveling."
            ).format(soil=soil)
        )
    if season_of(assessment.assessed_on) != season_of(on):
        words = {"day": date_format(assessment.assessed_on, "j M Y"), "season": season_of(on).label}
        found.append(gettext("Soil, snow and wind are as of {day}; now it is {season}: look again.").format(**words))
    if told := doors_words(assessment):
        found.append(told)
    return tuple(found)


_EXTREMES = (Assessment.Soil.DRY, Assessment.Soil.WET, Assessment.Soil.SWOLLEN)
_CLAYS = ("4A", "4B")  # of 24 CFR 3285.202: the classes that name clay


def is_on_clay(assessment: Assessment) -> bool:
    """Tell whether clay moves the home, or may: by the cause, by the soil as found, or by the home's soil class."""
    return (
        assessment.cause == Assessment.Cause.CLAY
        or assessment.soil == Assessment.Soil.SWOLLEN
        or assessment.siting.home.soil_class in _CLAYS
    )
