"""Readings among a phone's entries: stored in batches for speed, but a bad one takes no good ones with it."""

import re
import uuid
from collections.abc import Mapping

import msgspec
from django.db import InterfaceError, OperationalError
from django.utils.translation import gettext as _

from calcs.api.sync.kinds import Taking
from calcs.api.sync.wire import Entry
from jobs.errors import DomainError
from jobs.models import Role, User
from jobs.rights import Act, need
from surveys.ingest import Batch, ReadingIn, problems_of_row
from surveys.models import Reading
from surveys.services import Place, add_readings, find_place_of_setup

GIVEN_BESIDE = ("id", "taken_at", "sequence", "device")  # the entry itself says these
_ROW = re.compile(r"readings\[(\d+)\](?:\.(\w+))?")

Refused = dict[int, Exception]


def take_readings(taking: Taking, run: Mapping[int, Entry]) -> Refused:
    """Store the readings of one person from one setup; return what was refused, by place, and why."""
    author = taking.author(next(iter(run.values())))
    try:
        need(author, Act.ADD, Reading)
    except DomainError as error:
        return dict.fromkeys(run, error)
    refused: Refused = {}
    sent: dict[int, ReadingIn] = {}
    for place, entry in run.items():
        try:
            sent[place] = _reading(taking, entry)
        except DomainError as error:
            refused[place] = error
    if sent:
        try:
            survey_id, only_device, checked = find_place_of_setup(next(iter(sent.values())).setup)
            checked.check_visible_to(author)
        except DomainError:
            message = _("There is no such setup.")
            return refused | dict.fromkeys(sent, DomainError("invalid", message, fields={"setup": message}))
        if only_device and only_device != taking.parcel.device:
            strange = {place: _of_other_device(only_device) for place, one in sent.items() if one.replaces is None}
            refused |= strange
            sent = {place: one for place, one in sent.items() if place not in strange}
        refused |= _store(taking, survey_id, checked, author, sent)
    return refused


def _of_other_device(only_device: str) -> DomainError:
    """Say why a reading is not taken from a drifting setup of another device; a correction is, from any."""
    sentence = _(
        "This setup drifts and is read from {device} alone: start a setup of your own, and send the reading with it."
    ).format(device=only_device)
    return DomainError("other_device", _("Some fields need another look."), fields={"setup": sentence})


def _reading(taking: Taking, entry: Entry) -> ReadingIn:
    problems = {name: _("The entry itself says this.") for name in GIVEN_BESIDE if name in entry.body}
    row = {
        **entry.body,
        "id": entry.key,
        "sequence": entry.sequence,
        "device": taking.parcel.device,
        "taken_at": taking.taken_at(entry),
    }
    try:
        reading = msgspec.convert(row, ReadingIn)
    except msgspec.ValidationError:
        found = problems_of_row("readings[0]", row)
        problems |= {path.removeprefix("readings[0]."): sentence for path, sentence in found.items()}
    if problems:
        raise DomainError("invalid", _("Some fields need another look."), fields=problems)
    return reading


def _store(
    taking: Taking, survey_id: uuid.UUID, checked: Place, author: User, sent: Mapping[int, ReadingIn]
) -> Refused:
    """Store all together; where some are refused, the others without them and without what rests on them."""
    refused: Refused = {}
    left = dict(sent)
    while left:
        try:
            batch = Batch(dict(enumerate(left.values())))
            only_own = not author.has_role(Role.CREW_LEAD)
            received = add_readings(
                survey_id=survey_id, author_id=author.pk, batch=batch, place=checked, only_own=only_own
            )
        except (OperationalError, InterfaceError):
            raise
        except DomainError as error:
            blamed = _blamed(error, list(left)) or dict.fromkeys(left, error)
            refused |= blamed
            left = {place: reading for place, reading in left.items() if place not in blamed}
            not_there = {sent[place].id for place in blamed if error.code != "conflict"}
            for place in _resting_on(not_there, left):
                message = _("It corrects a reading that was set aside: mend that one first.")
                refused[place] = DomainError("invalid", message, fields={"replaces": message})
                del left[place]
        except Exception as error:
            if len(left) == 1:
                return refused | dict.fromkeys(left, error)
            for place, reading in left.items():  # one of them is a fault of ours: find out which
                refused |= _store(taking, survey_id, checked, author, {place: reading})
            return refused
        else:
            taking.contested.update(received.contested)
            return refused
    return refused


def _blamed(error: DomainError, places: list[int]) -> dict[int, Exception]:
    """Return one error for each reading that a refusal of the batch names."""
    fields: dict[int, dict[str, str]] = {}
    for path, sentence in error.fields.items():
        if found := _ROW.fullmatch(path):
            fields.setdefault(int(found[1]), {})[found[2] or "reading"] = sentence
    message = _("This reading is stored already with other content. Both are kept; send this under a new UUID.")
    if error.code != "conflict":
        message = _("Some fields need another look.")
    return {
        places[index]: DomainError(error.code, message, fields=own, status=error.status)
        for index, own in fields.items()
    }


def _resting_on(refused: set[uuid.UUID], left: Mapping[int, ReadingIn]) -> list[int]:
    """Return the places of the readings that correct or settle refused ones, or others that do."""
    resting: dict[uuid.UUID, list[int]] = {}
    for place, reading in left.items():
        for key in {reading.replaces, reading.settles}:
            if key is not None:
                resting.setdefault(key, []).append(place)
    found: dict[int, None] = {}
    gone = list(refused)
    while gone:
        for place in resting.pop(gone.pop(), []):
            found[place] = None
            gone.append(left[place].id)
    return list(found)
