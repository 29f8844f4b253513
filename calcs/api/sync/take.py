"""Taking a phone's entries one by one and in order: each is taken once, or set aside with the reason.

The whole of a request is one transaction, stored before it is answered. A repeat finds what became of each entry,
so a cut connection, a crash in between and two requests at once all end in the same rows.
"""

import logging
import uuid
from collections.abc import Iterator
from dataclasses import dataclass, field

from django.db import IntegrityError, InterfaceError, OperationalError, transaction
from django.utils import translation
from django.utils.translation import gettext as _

from calcs.api.sync import keep
from calcs.api.sync.kinds import Taking, take
from calcs.api.sync.readings import take_readings
from calcs.api.sync.wire import Entry, Parcel
from calcs.models import Approval, PassEntry
from jobs.api.errors import shape_of
from jobs.errors import DomainError
from jobs.models import User
from jobs.spoken import retold
from surveys.models import Reading, SyncEntry
from surveys.set_aside import Reason

log = logging.getLogger(__name__)

ATTEMPTS = 5
CLASHED = ("40P01", "40001", "23505")  # deadlock, serialization, a row that another request wrote in between
State = SyncEntry.State


@dataclass(slots=True, kw_only=True)
class Result:
    """What became of an entry, as the phone is told."""

    id: object
    state: str
    code: str = ""
    message: str = ""
    fields: dict[str, str] = field(default_factory=dict)


def take_entries(*, sender: User, parcel: Parcel) -> list[Result]:
    """Take entries in order; return what became of each, in the same order, in the sender's language.

    What is kept of it is English: the office reads it too.

    Raises
    ------
    DomainError
        503 when other requests kept getting in the way; nothing was taken then.
    """
    for _attempt in range(ATTEMPTS):
        try:
            with translation.override("en"), transaction.atomic():
                results = _Taker(sender, parcel).take()
        except (OperationalError, IntegrityError) as error:
            if getattr(error.__cause__, "sqlstate", None) not in CLASHED:
                raise
        else:
            return [_told(result) for result in results]
    raise DomainError("busy", _("Too much is going on: nothing was taken. Send it again."), status=503)


def _told(result: Result) -> Result:
    if result.message:
        result.message = retold(result.message)
        result.fields = {path: retold(sentence) for path, sentence in result.fields.items()}
    return result


class _Taker:
    """The entries of one request, and what is known of them."""

    def __init__(self, sender: User, parcel: Parcel) -> None:
        self.parcel = parcel
        self.known = keep.Known.of(parcel, sender=sender)
        named = {entry.author_id for entry in parcel.entries} - {sender.pk}
        people = User.objects.in_bulk(named) if named else {}
        self.taking = Taking(parcel=parcel, sender=sender, people=people | {sender.pk: sender})

    def take(self) -> list[Result]:
        results: dict[int, Result] = {}
        self._find_told_before()
        for run in _runs(self.parcel.entries):
            results.update(self._take_run(run))
        self.known.write()
        return [results[place] for place in range(len(self.parcel.entries))]

    def _take_run(self, run: dict[int, Entry]) -> dict[int, Result]:
        """Take what is new, or was set aside before; tell what became of the rest."""
        told = {place: found for place, entry in run.items() if (found := self._before(entry))}
        to_take = {place: entry for place, entry in run.items() if place not in told}
        if not to_take:
            return told
        first = next(iter(to_take.values()))
        if first.kind == "reading":
            refused = take_readings(self.taking, to_take)
        else:
            refused = {place: error for place, entry in to_take.items() if (error := self._take_one(entry))}
        for place, entry in to_take.items():
            error = refused.get(place)
            told[place] = self._set_aside(entry, error) if error else self._taken(entry)
        return told

    def _before(self, entry: Entry) -> Result | None:
        """Tell what became of the entry before, when that is all there is to it."""
        state = self.known.state_of(entry)
        if state == State.TAKEN:
            return self._remarked(entry, "repeated")
        if state == State.MENDED:
            message = _("Another version of this entry was taken in its place.")
            return Result(id=entry.told_id, state="repeated", code="mended", message=message)
        if entry.problem is not None:
            return self._set_aside(entry, entry.problem, within="")
        if self.known.is_taken(entry.key):
            message = _("This entry was taken already with other content. Both are kept; send this under a new UUID.")
            return self._set_aside(entry, DomainError("conflict", message, status=409))
        if entry.author_id not in self.taking.people:
            message = _("There is no such person: {author}.").format(author=entry.author_id)
            entry.author_id = self.taking.sender.pk
            return self._set_aside(entry, DomainError("invalid", message, fields={"author": message}), within="")
        return None

    def _take_one(self, entry: Entry) -> Exception | None:
        try:
            with transaction.atomic():
                take(self.taking, entry)
        except (OperationalError, InterfaceError):
            raise
        except Exception as error:
            return error
        return None

    def _taken(self, entry: Entry) -> Result:
        self.known.note_taken(entry)
        return self._remarked(entry, "taken")

    def _remarked(self, entry: Entry, state: str) -> Result:
        """Tell what was taken, with what its maker has to know of it."""
        if entry.key in self.taking.contested:
            message = _("Another correction of this reading came first: somebody has to settle which one holds.")
            return Result(id=entry.told_id, state=state, code="contested", message=message)
        if entry.key in self.taking.not_approved:
            message = _("Kept, but this plan is not approved, or is no more: ask before going on.")
            return Result(id=entry.told_id, state=state, code="not_approved", message=message)
        return Result(id=entry.told_id, state=state)

    def _find_told_before(self) -> None:
        """Find what has to be told again with a repeat: the first answer may have been lost on its way."""
        taken = [entry for entry in self.parcel.entries if self.known.state_of(entry) == State.TAKEN]
        if corrections := [entry.key for entry in taken if entry.kind == "reading" and entry.body.get("replaces")]:
            self.taking.contested |= set(
                Reading.objects.contested().filter(pk__in=corrections).values_list("pk", flat=True)
            )
        if steps := [entry.key for entry in taken if entry.kind == "pass"]:
            approved = Approval.objects.standing().values("plan")
            strange = PassEntry.objects.filter(pk__in=steps).exclude(plan__in=approved)
            self.taking.not_approved |= set(strange.values_list("pk", flat=True))

    def _set_aside(self, entry: Entry, error: Exception, *, within: str = "body.") -> Result:
        """Set an entry aside; the error names fields of the entry itself, or fields ``within`` it."""
        reason = self._reason(entry, error, within)
        self.known.note_set_aside(entry, reason)
        return Result(id=entry.told_id, state="set_aside", **reason)

    def _reason(self, entry: Entry, error: Exception, within: str) -> Reason:
        found = shape_of(error)
        if found is None:  # a fault of ours must not stop the entries behind it
            log.error("entry %s of kind %s could not be taken", entry.key, entry.kind, exc_info=error)
            message = _("Something went wrong on our side. The entry is kept: it can be sent again later.")
            return {"code": "fault", "message": message, "fields": {}}
        _status, body, _headers = found
        is_conflict = body["code"] == "conflict"
        within = "" if is_conflict else within  # which is about the entry's own id
        fields = {within + name: sentence for name, sentence in body["fields"].items()}
        if not is_conflict and self.known.waits(entry):
            message = _("It needs an entry that was set aside: mend that one first, then send this again.")
            return {"code": "waits", "message": message, "fields": fields}
        return {"code": body["code"], "message": body["message"], "fields": fields}


def _runs(entries: list[Entry]) -> Iterator[dict[int, Entry]]:
    """Cut entries into runs that are taken together: neighbouring readings of one person from one setup."""
    run: dict[int, Entry] = {}
    keys: set[uuid.UUID] = set()
    before: object = None
    for place, entry in enumerate(entries):
        group = (entry.author_id, entry.body.get("setup")) if entry.kind == "reading" else None
        if run and (group is None or group != before or entry.key in keys):
            yield run
            run, keys = {}, set()
        run[place] = entry
        keys.add(entry.key)
        before = group
    if run:
        yield run
