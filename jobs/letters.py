"""The plain letter to a customer when the answer is no: what was seen, what is not done now and why, what comes next.

It promises nothing, and names nobody but who looked. What somebody typed stands as it was typed, in its own language.
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from django.utils import translation
from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from jobs.assessing import blocks_of, season_of
from jobs.models import Assessment, Company, Customer, HomeContact


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """Sentences under one heading."""

    title: str
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Letter:
    """A letter in one language, line by line."""

    language: str
    company: str
    letterhead: tuple[str, ...]
    day: str
    address: tuple[str, ...]
    title: str
    greeting: str
    sections: tuple[Section, ...]
    signed: tuple[str, ...]
    foot: str


# What the customer reads of each block; the verdict has its own sentence, and of a finding only that there is one.
SEEN: dict[str, Promise] = {
    "gas": _("Something about the gas is not settled: a smell, a leak or a hard pipe."),
    "gas_smell": _("There was a smell of gas."),
    "bare_wiring": _("There is bare or wet wiring."),
    "standing_water": _("Water stands under the home."),
    "bent_beam": _("A beam under the home is bent."),
    "tied_masonry": _("A chimney or brickwork is tied to the home."),
    "stop_finding": _("Under the home we found something that stops the work."),
    "active_leak": _("Something leaks."),
    "wet_ground": _("The ground under the home is wet."),
    "soft_ground": _("The ground under the home is soft."),
    "frozen_soil": _("The soil is frozen. What frost has raised sinks again when it thaws."),
    "swollen_clay": _("The clay is swollen as far as it goes. It sinks again when it dries."),
    "roof_snow": _("Snow lies on the roof and loads the home."),
    "wind_forecast": _("Wind was forecast. The straps that hold the home against it stay tight until it is over."),
    "foundation_letter": _("There is a foundation letter for a lender. Work on the supports may void it."),
    "loan_pending": _("A sale or loan is pending that asks for a foundation letter."),
    "land_refused": _("The owner of the land does not agree."),
    "land_not_asked": _("The owner of the land was not asked yet."),
}
_GAS = _("If you smell gas, leave the home, touch no switch, and call the gas company from outside.")
_FITTER = _("Have a licensed gas fitter look at the gas line.")
_ENGINEER = _("Ask an engineer who is licensed in this state, and send us the answer in writing.")
_AGREE = _("Ask the owner of the land to agree in writing.")
_DRY = _("Lead water away from the home, so that the ground under it dries.")
DO: dict[str, tuple[Promise, ...]] = {
    "gas": (_GAS, _FITTER),
    "gas_smell": (_GAS, _FITTER),
    "bare_wiring": (_("Have a licensed electrician see to the wiring. Until then stay out from under the home."),),
    "standing_water": (
        _("Have the water taken out from under the home, and have found where it comes from."),
        _("Stay out of water that stands near wires."),
    ),
    "verdict_engineer": (_ENGINEER,),
    "bent_beam": (_ENGINEER,),
    "tied_masonry": (_ENGINEER,),
    "stop_finding": (_("Ask us what we found: we show it to you."),),
    "active_leak": (_("Have what leaks repaired by a licensed plumber."),),
    "wet_ground": (_DRY,),
    "soft_ground": (_DRY,),
    "swollen_clay": (_("Keep roof water and sprinklers away from the home until the soil has dried."),),
    "roof_snow": (_("Stay off the roof. Snow comes down from the ground, or by itself."),),
    "foundation_letter": (
        _("Ask the engineer who wrote the foundation letter whether work on the supports is allowed."),
    ),
    "loan_pending": (_("Ask the lender what is wanted before anybody works on the supports."),),
    "land_refused": (_AGREE,),
    "land_not_asked": (_AGREE,),
}
_NOT_NOW: dict[str, Promise] = {
    Assessment.Verdict.WAIT: _("We don't lift your home now. We wait."),
    Assessment.Verdict.DECLINE: _("We don't lift your home."),
    Assessment.Verdict.ENGINEER: _("We don't lift your home before an engineer has looked at it."),
}
_AGAIN: dict[str, Promise] = {
    Assessment.Verdict.WAIT: _("Call us when this has changed: we come and look again."),
    Assessment.Verdict.DECLINE: _("No further visit is planned. If what stands above changes, call us."),
    Assessment.Verdict.ENGINEER: _("When the engineer has answered in writing, we come and look again."),
}


def letter_of(assessment: Assessment, *, company: Company | None, language: str) -> Letter:
    """Write the letter about an assessment whose verdict is not to lift."""
    customer = _customer(assessment)
    with translation.override(language):
        return Letter(
            language=language,
            company=company.name if company else "",
            letterhead=_letterhead(company),
            day=_day(assessment),
            address=_address(assessment, customer),
            title=gettext("About your home at {address}").format(address=assessment.siting.address),
            greeting=_greeting(customer),
            sections=tuple(_sections(assessment)),
            signed=tuple(filter(None, (str(assessment.author), company.name if company else ""))),
            foot=gettext(
                "This letter tells what was seen on {day}. It is no engineer's report. "
                "Local codes and the home's own manual govern."
            ).format(day=_day(assessment)),
        )


def _customer(assessment: Assessment) -> Customer | None:
    """Return the home's owner of today; else whoever has to do with it."""
    rows = HomeContact.objects.filter(home=assessment.siting.home_id, to_on__isnull=True).select_related("customer")
    contacts = sorted(rows, key=lambda contact: (contact.part != HomeContact.Part.OWNER, contact.pk))
    return contacts[0].customer if contacts else None


def _greeting(customer: Customer | None) -> str:
    return gettext("Dear {name},").format(name=customer.name) if customer else gettext("To the owner of the home,")


def _address(assessment: Assessment, customer: Customer | None) -> tuple[str, ...]:
    if customer is None:
        return (assessment.siting.address,)
    return (customer.name, *(_lines(customer.postal_address) or (assessment.siting.address,)))


def _letterhead(company: Company | None) -> tuple[str, ...]:
    """Return what stands under the company's name, which many letterheads begin with too."""
    lines = _lines(company.letterhead) if company else ()
    return lines[1:] if company and lines[:1] == (company.name,) else lines


def _lines(text: str) -> tuple[str, ...]:
    return tuple(line.strip() for line in text.splitlines() if line.strip())


def _day(assessment: Assessment) -> str:
    return date_format(assessment.assessed_on, "DATE_FORMAT")


def _sections(assessment: Assessment) -> Iterator[Section]:
    codes = [block.code for block in blocks_of(assessment)]
    yield Section(title=gettext("What we saw"), sentences=tuple(_seen(assessment, codes)))
    yield Section(title=gettext("What we don't do now, and why"), sentences=tuple(_not_now(assessment)))
    yield Section(title=gettext("What you can do"), sentences=tuple(_to_do(assessment, codes)))
    yield Section(title=gettext("When we come again"), sentences=(_again(assessment),))


def _seen(assessment: Assessment, codes: Collection[str]) -> Iterator[str]:
    yield gettext("We looked at your home on {day}.").format(day=_day(assessment))
    if assessment.cause == Assessment.Cause.UNKNOWN:
        yield gettext("What made it move is not known yet.")
    else:
        cause = assessment.get_cause_display()
        yield gettext("What made it move: {cause}. What shows it:").format(cause=cause) + f" {assessment.evidence}"
    soil = {"season": season_of(assessment.assessed_on).label, "soil": assessment.get_soil_display()}
    yield gettext("It was {season}; the soil was: {soil}.").format(**soil)
    if assessment.water != Assessment.Water.NONE:
        yield gettext("As to water: {water}.").format(water=assessment.get_water_display())
    yield from (str(SEEN[code]) for code in codes if code in SEEN)


def _not_now(assessment: Assessment) -> Iterator[str]:
    yield str(_NOT_NOW[assessment.verdict])
    yield assessment.reason


def _to_do(assessment: Assessment, codes: Collection[str]) -> Iterator[str]:
    found = dict.fromkeys(sentence for code in codes for sentence in DO.get(code, ()))
    if assessment.water == Assessment.Water.NOT_CURED:
        found[_("Lead roof and surface water away from the home: gutters, downspouts, soil that slopes away.")] = None
    yield from map(str, found or [_("There is nothing for you to do now.")])


def _again(assessment: Assessment) -> str:
    if assessment.wait_until is None:
        return str(_AGAIN[assessment.verdict])
    day = date_format(assessment.wait_until, "DATE_FORMAT")
    return gettext("We come again from {day} on, and look again.").format(day=day)
