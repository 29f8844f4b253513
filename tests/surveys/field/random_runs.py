"""Random runs of two phones against the real service: they enter, and are cut, killed, repeated and reordered.

What was entered is kept here too, as it was entered, to be held against phones and database at the end.
"""

import datetime
import random
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from django.utils import timezone
from playwright.sync_api import Error as BrowserError

from jobs.models import Finding, HeadCount, User
from surveys.models import Reading, Setup, Survey, SyncEntry
from tests.surveys.field.bad_service import FAULTS, BadService
from tests.surveys.field.phones import Phone
from tests.surveys.field.world import FieldWorld

Entry = dict[str, Any]
STEPS = 16
MOST_ROUNDS = 60
GOOD = ("14 3/16", "3.5", "-1/2", "2' 1 1/4\"", "0", "11 7/8")
BAD = ("3 5/7", "twelve", "1,5", "9999")
ADD = "(outbox, [kind, body, given]) => outbox.add(kind, body, given)"
ADD_ALL = """async (outbox, all) => {
  const made = [];
  for (const [kind, body, given] of all) made.push(await outbox.add(kind, body, given));
  return made;
}"""
# Every change goes through the page's own code, as its screens do it.
SURVEYS = """async (record, [visit, language]) => {
  const { at } = await import("/static/surveys/field/days.js");
  const { of } = await import("/static/surveys/field/outbox.js");
  const known = await at(visit, language);
  return known ? record.surveysOf(known.place, await of(visit)) : [];
}"""
ENTRIES = "async (store, ids) => (await Promise.all(ids.map((id) => store.get('entries', id)))).filter(Boolean)"
ASIDE = """async (store) => {
  const { isMendable } = await import("/static/surveys/field/rules.js");
  return (await store.all("entries", "state", "set_aside")).map((entry) => ({ ...entry, can: isMendable(entry) }));
}"""


# A page that has just been opened may not have begun to send: then nothing was fetched since.
PRESS = "async (sync) => { const pressed_ms = Date.now(); await sync.now(); return pressed_ms; }"
HOW = """async (store) => {
  const { status } = await import("/static/surveys/field/sync.js");
  return { ...status(), fetched_ms: (await store.pref("sync"))?.fetched_ms ?? 0 };
}"""
FORGET = """(store) => store.within(["entries"], "readwrite", async (tx) => {
  for (const { id } of await tx.all("entries")) await tx.del("entries", id);
})"""


@dataclass(slots=True, kw_only=True)
class Crew:
    """One phone, who holds it, and what was entered on it in this run."""

    phone: Phone
    user: User
    device: str
    entered: list[Entry] = field(default_factory=list)
    perhaps: list[Entry] = field(default_factory=list)  # the phone was killed at that moment: all of it, or nothing


class Run:
    """One random plan, carried out."""

    def __init__(self, seed: int, crews: list[Crew], service: BadService, world: FieldWorld) -> None:
        self.random = random.Random(seed)  # noqa: S311 - a plan, no secret
        self.seed = seed
        self.crews = crews
        self.service = service
        self.world = world
        self.points = [str(key) for key in world.siting.points.values_list("pk", flat=True)]
        self.said: list[str] = []
        for crew in crews:
            crew.entered, crew.perhaps = [], []

    def carry_out(self) -> None:
        """Do what the seed says, then let everything come to rest."""
        acts: list[tuple[int, Callable[[Crew], None]]] = [
            (9, self.enter),
            (7, self.befall),
            (2, self.cut_or_mend),
            (1, self.reload),
            (1, self.kill),
            (1, self.kill_while_entering),
            (1, self.second_tab),
            (2, self.bring_late),
            (2, self.pause),
        ]
        weights, does = zip(*acts, strict=True)
        for _ in range(STEPS):
            act = self.random.choices(does, weights)[0]
            crew = self.random.choice(self.crews)
            self.said.append(f"{crew.user.username} {act.__name__}")
            act(crew)
        self.come_to_rest()

    # -- what crews do -------------------------------------------------------------------------------------------

    def enter(self, crew: Crew) -> None:
        """Enter one to six things."""
        surveys = self.surveys(crew)
        given = {"visit": str(self.world.visit.pk)}
        made = [[*self.something(surveys), given] for _ in range(self.random.randint(1, 6))]
        crew.entered += crew.phone.module("outbox", ADD_ALL, made)

    def something(self, known: list[Entry]) -> tuple[str, Entry]:
        """Make up something that the phone's own screens could enter now."""
        siting, visit = str(self.world.siting.pk), str(self.world.visit.pk)
        surveys = [one for one in known if one["state"] == "open" and one["note"] == self.note]
        setups = [setup for survey in surveys for setup in survey["setups"] if setup["isOffered"]]
        standing = [reading for survey in surveys for reading in survey["readings"]]
        if not surveys or (self.random.random() < 0.05 and len(surveys) < 3):
            body = {"siting": siting, "visit": visit, "stage": "check", "method": "water_level", "note": self.note}
            return "survey", body
        if not setups or self.random.random() < 0.1:
            survey = self.random.choice(surveys)
            code = f"S{self.random.randrange(100)}" if self.random.random() > 0.2 else "too-long-a-code"
            has_drift = self.random.random() < 0.2
            return "setup", {"survey": survey["id"], "code": code, "sense": "up", "has_drift": has_drift}
        if standing and self.random.random() < 0.3:
            return "reading", self.correction(self.random.choice(standing))
        if self.random.random() < 0.15:
            point, text = self.random.choice(self.points), self.random.choice(("damp", "a wedge is loose", ""))
            return "finding", {"siting": siting, "visit": visit, "point": point, "grade": "note", "text": text}
        if self.random.random() < 0.1:
            return "head_count", {"visit": visit, "person_name": self.random.choice("ABC"), "is_in": True}
        setup = self.random.choice(setups)
        return "reading", {"setup": setup["id"], "point": self.random.choice(self.points), "value": self.value()}

    def correction(self, of: Entry) -> Entry:
        value = None if self.random.random() < 0.2 else self.value()
        places = {name: of[name] for name in ("setup", "point")}
        return {**places, "value": value, "replaces": of["id"], "reason": "slip"}

    def value(self) -> str:
        return self.random.choice(BAD if self.random.random() < 0.1 else GOOD)

    @property
    def note(self) -> str:
        return f"run {self.seed}"

    def surveys(self, crew: Crew) -> list[Entry]:
        """Return the surveys as a phone sees them."""
        return list(crew.phone.module("record", SURVEYS, [str(self.world.visit.pk), "en"]))

    # -- what befalls them ---------------------------------------------------------------------------------------

    def befall(self, crew: Crew) -> None:
        self.service.plan(crew.device, self.random.choice(FAULTS))

    def cut_or_mend(self, crew: Crew) -> None:
        if crew.phone.wire.is_cut:
            crew.phone.mend()
        else:
            crew.phone.cut()

    def reload(self, crew: Crew) -> None:
        crew.phone.page.reload()
        crew.phone.shown()

    def kill(self, crew: Crew) -> None:
        crew.phone.kill()
        crew.phone.reopen()

    def kill_while_entering(self, crew: Crew) -> None:
        """Kill the page while it keeps an entry: afterwards all of it is there, or nothing."""
        kind, body = self.something(self.surveys(crew))
        key = crew.phone.module("ids", "(ids) => ids.newId()")
        given = {"visit": str(self.world.visit.pk), "id": key}
        forget = "async (outbox, [kind, body, given]) => void outbox.add(kind, body, given)"
        crew.phone.module("outbox", forget, [kind, body, given])
        crew.phone.kill()
        crew.phone.reopen()
        crew.perhaps.append({"id": key, "kind": kind, "body": body})

    def second_tab(self, crew: Crew) -> None:
        """Open the page a second time; either of the two is closed later on, or neither."""
        before = crew.phone.page
        crew.phone.open()
        if self.random.random() < 0.7:
            before.close()

    def bring_late(self, _crew: Crew) -> None:
        self.service.bring_late()

    def pause(self, crew: Crew) -> None:
        crew.phone.page.wait_for_timeout(self.random.choice((10, 60, 250)))

    # -- coming to rest ------------------------------------------------------------------------------------------

    def come_to_rest(self) -> None:
        """Mend the world, and have each crew mend what was set aside, until nothing waits."""
        self.service.get_well()
        for crew in self.crews:
            if crew.phone.wire.is_cut:
                crew.phone.mend()
        for _ in range(MOST_ROUNDS):
            waiting = [self.is_waiting(crew) for crew in self.crews]
            if not any(waiting):
                break
        else:
            how = [crew.phone.module("sync", "(sync) => sync.status()") for crew in self.crews]
            raise AssertionError(f"something waits for ever: {how}")
        self.service.bring_late()
        for crew in self.crews:
            self.look_again(crew)

    def look_again(self, crew: Crew) -> None:
        """Have the day fetched, for what the other one sent last."""
        how: Entry = {}
        for _ in range(MOST_ROUNDS):
            pressed_ms = crew.phone.module("sync", PRESS)
            self.settle(crew)
            how = crew.phone.module("store", HOW)
            if how["phase"] == "idle" and how["fetched_ms"] >= pressed_ms:
                return
            crew.phone.page.wait_for_timeout(100)  # the line may still be deaf from what befell it last
        raise AssertionError(f"the day can't be fetched: {how}")

    def is_waiting(self, crew: Crew) -> bool:
        """Send, and mend; tell whether something still waits."""
        crew.phone.module("sync", "(sync) => sync.now()")
        self.settle(crew)
        for entry in crew.phone.module("store", ASIDE):
            if entry["can"]:
                body = self.mended(entry)
                crew.phone.module("outbox", "(outbox, [id, body]) => outbox.mend(id, body)", [entry["id"], body])
        counts = crew.phone.module("outbox", "(outbox) => outbox.counts()")
        return bool(counts["unsent"] or counts["set_aside"])

    def settle(self, crew: Crew) -> None:
        """Wait until the page sends nothing any more."""
        for _ in range(500):
            phase = crew.phone.module("sync", "(sync) => sync.status().phase")
            if phase in ("idle", "waiting"):
                return
            crew.phone.page.wait_for_timeout(20)
        raise AssertionError(f"it never ends: {phase}")

    def mended(self, entry: Entry) -> Entry:
        """Say it right, as its author would."""
        body = dict(entry["body"])
        fields = entry["reason"]["fields"]
        if "body.value" in fields:
            body["value"] = "1 1/2"
        elif "body.text" in fields:
            body["text"] = "said later"
        elif entry["kind"] == "setup":
            body["code"] = f"M{self.random.randrange(100_000)}"
        else:
            assert entry["told"] == "conflict", (entry["told"], entry["reason"])
        return body

    def tidy_up(self) -> None:
        """Hand the surveys in and forget the entries, so that the next run finds no more than this one did."""
        Survey.objects.filter(note=self.note).update(state="submitted", submitted_at=timezone.now(), revision=1)
        for crew in self.crews:
            crew.phone.module("store", FORGET)

    # -- the end -------------------------------------------------------------------------------------------------

    def compare(self) -> int:
        """Hold phones and database against what was entered; return how many entries there were."""
        ids: set[str] = set()
        for crew in self.crews:
            ids |= self.compare_phone(crew)
        readings = Reading.objects.filter(survey__note=self.note)
        surveys = Survey.objects.filter(note=self.note)
        stored = {
            "survey": keys(surveys),
            "setup": keys(Setup.objects.filter(survey__note=self.note)),
            "reading": keys(readings),
        }
        own = SyncEntry.objects.filter(entry__in=ids)
        assert not own.filter(state__in=SyncEntry.OPEN).exists()
        for kind, found in stored.items():
            assert found == keys(own.filter(kind=kind, state="taken"), "entry"), kind
        assert keys(Finding.objects.filter(pk__in=ids)) == keys(own.filter(kind="finding", state="taken"), "entry")
        assert keys(HeadCount.objects.filter(pk__in=ids)) == keys(
            own.filter(kind="head_count", state="taken"), "entry"
        )
        self.compare_sight(readings)
        return len(ids)

    def compare_phone(self, crew: Crew) -> set[str]:
        """Everything that was entered is on the phone as it was entered, and on the server as it is on the phone."""
        expected = {entry["id"]: entry for entry in crew.entered}
        wanted = [*expected, *(entry["id"] for entry in crew.perhaps)]
        on_phone = {entry["id"]: entry for entry in crew.phone.module("store", ENTRIES, wanted)}
        assert expected.keys() <= on_phone.keys(), "entered and not on the phone any more"
        added = crew.phone.module("store", "async (store) => store.all('entries')")
        on_phone |= {entry["id"]: entry for entry in added if entry["mends"] in on_phone}
        sequences = [entry["sequence"] for entry in added]
        assert len(set(sequences)) == len(sequences)
        for entry in [*crew.entered, *crew.perhaps]:
            if entry["id"] in on_phone:
                first = (on_phone[entry["id"]].get("before") or [on_phone[entry["id"]]])[0]
                assert first["body"] == entry["body"] | only_device(first["body"]), "changed on the phone"
        for entry in on_phone.values():
            self.compare_entry(crew, entry)
        not_kept = {entry["id"] for entry in crew.perhaps} - on_phone.keys()
        assert not SyncEntry.objects.filter(entry__in=not_kept).exists()
        return set(on_phone)

    def compare_entry(self, crew: Crew, entry: Entry) -> None:
        assert entry["state"] in ("taken", "mended"), (entry["state"], entry["reason"])
        row = SyncEntry.objects.get(entry=entry["id"], state="taken")
        assert (str(row.author_id), row.sequence, row.device) == (entry["author"], entry["sequence"], crew.device)
        assert row.noted_at == datetime.datetime.fromisoformat(entry["noted_at"])
        if entry["state"] == "taken":
            assert row.body == entry["body"]
        if entry["kind"] == "reading":
            self.compare_reading(Reading.objects.get(pk=entry["id"]), row)

    def compare_reading(self, reading: Reading, row: SyncEntry) -> None:
        said = row.body
        assert reading.typed == (said["value"] or "")
        places = (
            str(reading.setup_id),
            str(reading.point_id),
            str(reading.replaces_id or ""),
            str(reading.author_id),
        )
        assert places == (said["setup"], said["point"], said.get("replaces") or "", str(row.author_id))
        assert (reading.sequence, reading.device) == (row.sequence, row.device)
        assert reading.taken_at is not None
        off_s = (timezone.now() - reading.taken_at).total_seconds()
        assert -2 < off_s < 600, "a wrong clock was not put right"

    def compare_sight(self, readings: Any) -> None:
        """Both phones see the readings that stand on the server, and no others."""
        stands = keys(Reading.objects.standing().filter(pk__in=readings))
        for crew in self.crews:
            surveys = [survey for survey in self.surveys(crew) if survey["note"] == self.note]
            seen = {reading["id"] for survey in surveys for reading in survey["readings"]}
            if seen != stands:
                how = crew.phone.module("sync", "(sync) => sync.status()")
                entries = crew.phone.module("store", ENTRIES, [*(seen ^ stands)])
                told = f"sees too {seen - stands}, sees not {stands - seen}; {how}; {entries}"
                raise AssertionError(f"{crew.user.username} sees other readings than the server: {told}")


def keys(rows: Any, name: str = "pk") -> set[str]:
    return {str(key) for key in rows.values_list(name, flat=True)}


def only_device(body: Entry) -> Entry:
    """The phone adds its own name to a setup."""
    return {"device": body["device"]} if "device" in body else {}


def told(run: Run, error: Exception) -> str:
    """Tell a run that failed: its seed, and what happened in it."""
    lines = str(error).splitlines()[:12] if isinstance(error, BrowserError) else [repr(error)]
    return "\n".join([f"seed {run.seed}", *run.said, f"befell: {run.service.met}", *lines])
