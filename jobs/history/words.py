"""Columns and stored values in the words that people use: lengths as crews say them, choices by their words."""

import datetime
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from django.db import models
from django.utils import timezone
from django.utils.dateparse import parse_date, parse_datetime
from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from jobs import enquiry
from jobs.lengths import NO_BREAK_SPACE, length
from jobs.models import LengthUnit
from jobs.part_words import courses_words

NOTHING = "\N{EN DASH}"
SIXTEENTHS = 16

# Units of numbers, by the end of a field's name; lengths in inches go by the reader's own unit.
_UNITS: dict[str, str] = {
    "_lb_per_ft": "lb/ft",
    **{
        "_in3": "in³",
        "_in4": "in⁴",
        "_ft": "ft",
        "_lb": "lb",
        "_psf": "psf",
        "_min": "min",
        "_deg": "°",
        "_pct": "%",
    },
}
_LENGTH = "_in"


# What a field is called where its name alone would not do; "model.field" goes before "field".
FIELD_WORDS: Mapping[str, Promise] = {
    "a": _("one point"),
    "access_notes": _("getting in"),
    "anchor_kind": _("anchor"),
    "assessed_on": _("assessed on"),
    "attached_note": _("attached"),
    "at_ft": _("along the run"),
    "beam": _("beam letter"),
    "body": _("message"),
    "b": _("other point"),
    "beam_i_in4": _("second moment of area of a beam"),
    "beam_load_lb_per_ft": _("load on a beam"),
    "beam_section_modulus_in3": _("section modulus of a beam"),
    "bolt_in": _("bolt"),
    "built_on": _("built"),
    "cause": _("cause"),
    "clearance_in": _("ground to frame"),
    "code": _("number"),
    "condition": _("condition"),
    "crew": _("crew"),
    "currency": _("currency"),
    "customer": _("customer"),
    "data_plate": _("data plate"),
    "date_joined": _("joined"),
    "description": _("description"),
    "design_offset_in": _("built higher than the beams by"),
    "device": _("device"),
    "diameter_in": _("inside diameter"),
    "direction": _("direction"),
    "doors_note": _("which doors and windows"),
    "email": _("email"),
    "ends_at": _("until"),
    "evidence": _("evidence"),
    "expires_on": _("last day"),
    "first_name": _("first name"),
    "footing": _("footing"),
    "footing_length_in": _("footing along the home"),
    "footing_thickness_in": _("footing thickness"),
    "footing_width_in": _("footing across the home"),
    "free_down_in": _("free down"),
    "free_min": _("time to free it"),
    "free_up_in": _("free up"),
    "from_on": _("from"),
    "gap_in": _("gap at the wedge"),
    "has_active_leak": _("leak"),
    "has_bent_beam": _("bent beam"),
    "has_cleanout": _("clean-out at the upper end"),
    "has_drift": _("drifts"),
    "has_foundation_letter": _("foundation letter"),
    "has_gas_question": _("gas not settled"),
    "has_roof_snow": _("snow on the roof"),
    "has_standing_water": _("standing water"),
    "has_sunk": _("has sunk"),
    "has_tied_masonry": _("masonry tied to the home"),
    "has_vertical_tie": _("vertical tie"),
    "has_wind_forecast": _("wind forecast"),
    "height_in": _("height"),
    "home": _("home"),
    "installed_on": _("installed"),
    "insurance_expires_on": _("insurance until"),
    "insurance_number": _("insurance number"),
    "invert_in": _("inside bottom of the pipe"),
    "is_active": _("works here"),
    "is_corner": _("corner"),
    "is_loan_pending": _("sale or loan pending"),
    "is_on_ground": _("held by the ground"),
    "is_proposed": _("made by the layout"),
    "is_staff": _("may use the admin"),
    "is_superuser": _("administrator"),
    "keep_courses": _("sound courses that stay"),
    "issued_on": _("issued on"),
    "kind": _("kind"),
    "label": _("name"),
    "label_number": _("label number"),
    "land": _("land"),
    "land_owner": _("land owner"),
    "language": _("language"),
    "last_name": _("last name"),
    "lead": _("lead"),
    "length_ft": _("length"),
    "length_unit": _("lengths in"),
    "letterhead": _("letterhead"),
    "licence_expires_on": _("licence until"),
    "licence_number": _("licence number"),
    "mark_class": _("what the mark is"),
    "marked_end": _("marked end"),
    "max_lower_in": _("lower at most"),
    "max_raise_in": _("raise at most"),
    "measured": _("how measured"),
    "method": _("method"),
    "name": _("name"),
    "number": _("number"),
    "north_deg": _("bearing along the home"),
    "note": _("note"),
    "notes": _("notes"),
    "offset_in": _("top stands off by"),
    "part": _("part"),
    "phone": _("phone"),
    "point": _("point"),
    "postal_address": _("postal address"),
    "address": _("address"),
    "rated_lb": _("rated load"),
    "reading_sd_in": _("noise of a reading"),
    "reason": _("reason"),
    "rehang_min": _("time to hang a stretch anew"),
    "released_on": _("released on"),
    "removed_on": _("removed"),
    "replaced_by": _("replaced by"),
    "retired_on": _("retired"),
    "rise_in": _("rise"),
    "roles": _("roles"),
    "roof_live_psf": _("roof load"),
    "rule_set": _("rules"),
    "run": _("drain run"),
    "run_in": _("run"),
    "sections": _("sections"),
    "sense": _("sense"),
    "sense_trial": _("trial"),
    "siting": _("place"),
    "slack_in": _("slack"),
    "soil": _("soil as found"),
    "soil_class": _("soil"),
    "stack": _("courses from the top"),
    "stage": _("stage"),
    "started_at": _("started"),
    "starts_at": _("from"),
    "state": _("state"),
    "subject": _("subject"),
    "submitted_at": _("handed in"),
    "surface": _("on"),
    "survey": _("survey"),
    "tax_pct": _("tax"),
    "tension_lb": _("tension"),
    "thickness_in": _("thickness"),
    "tier": _("how stacked"),
    "time_zone": _("time zone"),
    "to_on": _("to"),
    "tolerance_in": _("tolerance"),
    "trade": _("who may free it"),
    "unit": _("unit"),
    "username": _("sign-in name"),
    "verdict": _("verdict"),
    "visit": _("visit"),
    "wait_until": _("wait until"),
    "walk_order": _("place in the walk"),
    "wall_finish": _("walls"),
    "water": _("water"),
    "width_ft": _("width"),
    "strap.width_in": _("width"),
    "wind_zone": _("wind zone"),
    "wraps": _("wraps"),
    "x_ft": _("along from the marked end"),
    "y_ft": _("across from the left"),
    "are_drains_checked": _("water run through every drain"),
    "are_straps_tight": _("every loosened strap tight again"),
    "are_wedges_tapped": _("every wedge tapped, and tight"),
    "as_left": _("survey as left"),
    "closed_at": _("closed at"),
    "closed_by": _("closed by"),
    "doors_windows": _("doors and windows"),
    "exceptions": _("exceptions"),
    "gas": _("gas line"),
    "gas_checked_by": _("gas checked by"),
    "is_everybody_out": _("everybody counted out by name"),
    "is_leak_checked": _("water on: nothing leaks"),
    "manager_reason": _("why the manager closed it"),
    "answers": _("answers"),
    "asked_on": _("asked on"),
    "began": _("began"),
    "booked_why": _("why it was booked"),
    "call_back_of": _("call-back of"),
    "caller_email": _("caller's e-mail"),
    "caller_name": _("caller"),
    "caller_phone": _("caller's phone"),
    "came": _("how they asked"),
    "done_on": _("done on"),
    "job": _("job"),
    "trucks": _("trucks"),
    "latitude_deg": _("latitude"),
    "longitude_deg": _("longitude"),
    "needs": _("needs somebody for"),
    "payload_lb": _("may carry"),
    "person": _("person"),
    "rooms": _("rooms"),
    "skills": _("can do"),
    "state_reason": _("why it stands so"),
    "symptoms": _("symptoms"),
    "truck": _("truck"),
    "warranty_months": _("months of warranty"),
    "why": _("why"),
    "works_from": _("works from"),
    "works_to": _("works to"),
    "approval": _("approval"),
    "archived_at": _("archived"),
    "erased_at": _("erased"),
    "author": _("author"),
}


def field_word(model: type[models.Model], name: str) -> str:
    """Return what people call a field of a model."""
    word = FIELD_WORDS.get(f"{model._meta.model_name}.{name}") or FIELD_WORDS.get(name)
    return str(word) if word else name.replace("_", " ")


def thing_words(thing: str, count: int = 1) -> str:
    """Return what people call rows of a kind, by the name that the API has for it."""
    say = _THINGS.get(thing)
    return say(count) if say else thing.replace("-", " ")


_THINGS: Mapping[str, Callable[[int], str]] = {
    "assessment": lambda count: ngettext("assessment", "assessments", count),
    "benchmark": lambda count: ngettext("benchmark", "benchmarks", count),
    "closing": lambda count: ngettext("closing", "closings", count),
    "company": lambda count: ngettext("company", "companies", count),
    "connection": lambda count: ngettext("connection", "connections", count),
    "customer": lambda count: ngettext("customer", "customers", count),
    "drain-node": lambda count: ngettext("place on a drain", "places on drains", count),
    "drain-run": lambda count: ngettext("drain run", "drain runs", count),
    "home": lambda count: ngettext("home", "homes", count),
    "home-contact": lambda count: ngettext("contact", "contacts", count),
    "job": lambda count: ngettext("job", "jobs", count),
    "mail-text": lambda count: ngettext("words of mail", "words of mail", count),
    "neighbour-pair": lambda count: ngettext("pair", "pairs", count),
    "paper": lambda count: ngettext("paper", "papers", count),
    "point": lambda count: ngettext("point", "points", count),
    "setup": lambda count: ngettext("setup", "setups", count),
    "siting": lambda count: ngettext("place", "places", count),
    "strap": lambda count: ngettext("strap", "straps", count),
    "support": lambda count: ngettext("support at", "supports at", count),
    "survey": lambda count: ngettext("survey", "surveys", count),
    "time-off": lambda count: ngettext("days off", "days off", count),
    "truck": lambda count: ngettext("truck", "trucks", count),
    "user": lambda count: ngettext("person", "people", count),
    "visit": lambda count: ngettext("visit", "visits", count),
}


def value_words(field: Any, value: Any, names: Mapping[tuple[str, str], str], unit: str) -> str:
    """Write a stored value, as it came out of JSON, for people; ``names`` holds what rows are called.

    ``unit`` is the reader's own for lengths, ``in`` or ``mm``.
    """
    if value is None or value in ("", [], {}):
        return NOTHING
    if isinstance(value, list | dict):
        return _several_words(field, value, names, unit)
    if field.is_relation:
        return names.get((field.related_model._meta.label, str(value)), NOTHING)
    if field.choices:
        return str(dict(field.flatchoices).get(value, value))
    if isinstance(value, bool):
        return gettext("yes") if value else gettext("no")
    return _plain_words(field, value, unit)


def _several_words(field: Any, values: Any, names: Mapping[tuple[str, str], str], unit: str) -> str:
    """Write what stands in a list, the courses of a stack by their own words; answers beside their questions."""
    if isinstance(values, dict):
        return "; ".join(f"{question} {answer}" for question, answer in enquiry.told(values))
    if field.name == "stack":
        return courses_words(values)
    return ", ".join(value_words(field.base_field, one, names, unit) for one in values)


def _plain_words(field: Any, value: Any, unit: str) -> str:
    match field:
        case models.DateTimeField():
            return moment_words(parse_datetime(value) or timezone.now())
        case models.DateField():
            return date_format(parse_date(value) or datetime.date.min, "j M Y")
        case models.DecimalField() | models.FloatField() | models.IntegerField():
            return number_words(field.name, Decimal(str(value)), unit)
    return str(value)


def moment_words(at: datetime.datetime) -> str:
    """Write a moment by the company's clock."""
    return date_format(timezone.localtime(at), "j M Y, H:i")


def number_words(name: str, value: Decimal, unit: str) -> str:
    """Write a number with the unit that its field's name ends in; inches in sixteenths where they are exact."""
    if name.endswith(_LENGTH):
        in_sixteenths = value * SIXTEENTHS == (value * SIXTEENTHS).to_integral_value()
        if in_sixteenths or unit == LengthUnit.MILLIMETRES:
            return length(value, unit)
    ends = next((one for end, one in _UNITS.items() if name.endswith(end)), "in" if name.endswith(_LENGTH) else "")
    written = f"{value.normalize():f}"
    return f"{written}{'' if ends in ('', '°', '%') else NO_BREAK_SPACE}{ends}"
