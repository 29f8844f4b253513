"""How far the work has come, on the phone as in the service: the same steps, verdicts and what is left."""

import datetime
import random
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from calcs.models import Approval, PassEntry
from calcs.work import Step, WorkProgress, progress_of_work
from jobs.models import User
from tests.calcs.approved import approved_home
from tests.factories import CompanyFactory, SetupFactory, SurveyFactory, UserFactory, VisitFactory
from tests.surveys.field.conftest import UseModule

pytestmark = pytest.mark.django_db

PROGRESS = """async ({ progressOf, anewSince }, place) => {
  const { passEntriesOf } = await import("/static/surveys/field/record.js");
  const told = progressOf(place.work, passEntriesOf(place, []), anewSince(place, [], []));
  const step = ({ point, pass_number, is_done, off_in, verdict, read_in }) =>
    [pass_number, point, is_done, off_in, verdict, read_in];
  return {
    steps: told.passes.flatMap((each) => [...each.groups.flat(), ...each.beside].map(step)),
    passes: told.passes.map((each) => [each.isDone, each.isOff]),
    supports: told.supports.map((row) => [row.point, row.left_in, row.passes, row.passes_done]),
    next: told.next && [told.next.pass_number, told.next.point],
    isBegun: told.isBegun,
  };
}"""


def _told(step: Step, progress: WorkProgress) -> list[Any]:
    shown_in = None if progress.anew_since else pytest.approx(step.read_in)  # as on the page of the work
    return [step.pass_number, step.point, step.is_done, pytest.approx(step.off_in), step.verdict, shown_in]


def _expected(progress: WorkProgress) -> dict[str, Any]:
    """Return the same of what the service says."""
    following = progress.next_step()
    return {
        "steps": [
            _told(step, progress)
            for each in progress.passes
            for step in (*(step for group in each.groups for step in group), *each.beside)
        ],
        "passes": [[each.is_done, each.is_off] for each in progress.passes],
        "supports": [
            [row.point, pytest.approx(row.left_in), row.passes, row.passes_done] for row in progress.supports
        ],
        "next": following and [following.pass_number, following.point],
        "isBegun": progress.is_begun,
    }


def _note(approval: Approval, by: User, chance: random.Random) -> None:
    """Note a step or two more, some not done, some far off, some corrected since."""
    progress = progress_of_work(approval)
    steps = [step for each in progress.passes for group in (*each.groups, each.beside) for step in group]
    for n in range(3):
        step = chance.choice(steps)
        off_in = chance.choice((0.0, 0.25, -0.25, 0.5))
        value_in = round((step.read_in or 0.0) + off_in, 4)
        is_read = chance.random() < 0.8
        PassEntry.objects.create(
            plan=approval.plan,
            point_id=step.point,
            pass_number=step.pass_number,
            author=by,
            noted_at=timezone.now() + chance.randrange(3) * datetime.timedelta(minutes=1),
            sequence=n,
            is_done=chance.random() < 0.7,
            value_in=value_in if is_read else None,
            typed=f"{value_in}" if is_read else "",
        )


def test_the_phone_tells_the_same_of_the_work_as_the_service(module: UseModule) -> None:
    CompanyFactory()
    lead, approval, now = UserFactory(roles=["crew_lead"]), approved_home(), timezone.now()
    hour = datetime.timedelta(hours=1)
    VisitFactory(siting=approval.siting, lead=lead, starts_at=now - hour, ends_at=now + hour)
    client, chance = Client(), random.Random(20261130)  # noqa: S311 - not a secret
    client.force_login(lead)
    verdicts = set()
    for _turn in range(12):
        (place,) = client.get("/api/v1/day/").json()["places"]
        progress = progress_of_work(Approval.objects.get(pk=approval.pk))
        assert module("working", PROGRESS, place) == _expected(progress)
        steps = [step for each in progress.passes for group in (*each.groups, each.beside) for step in group]
        verdicts |= {step.verdict for step in steps}
        _note(approval, lead, chance)
    assert verdicts == {"", "as_wanted", "unsure", "off"}


def test_no_number_of_another_setup_is_shown_or_judged_by(module: UseModule) -> None:
    """The level is set up anew with the opposite sense: the page of the work and the phone both tell no number."""
    CompanyFactory()
    lead, approval, now = UserFactory(roles=["crew_lead"]), approved_home(), timezone.now()
    hour = datetime.timedelta(hours=1)
    VisitFactory(siting=approval.siting, lead=lead, starts_at=now - hour, ends_at=now + hour)
    client = Client()
    client.force_login(lead)
    (place,) = client.get("/api/v1/day/").json()["places"]
    setup, step = place["work"]["setup"], progress_of_work(approval).steps[0]
    assert setup["mark"] == {"name": "BM1", "read_in": 15.0}  # 3 in above, on a line 12 in below
    page = client.get(f"/approvals/{approval.pk}/work/").content.decode()
    assert "BM1 reads 15 there" in page
    assert "to read <strong" in page

    noted = {"plan": approval.plan, "point_id": step.point, "author": lead, "is_done": True, "typed": "1"}
    PassEntry.objects.create(
        **noted, pass_number=step.pass_number, value_in=(step.read_in or 0) + 1, noted_at=now - hour, sequence=1
    )
    anew = SurveyFactory(siting=approval.siting, author=lead, stage="during", started_at=now - hour / 2)
    SetupFactory(survey=anew, code="S1", sense="down")
    other = progress_of_work(approval).steps[1]
    noted |= {"point_id": other.point, "pass_number": other.pass_number}
    PassEntry.objects.create(**noted, value_in=(other.read_in or 0), noted_at=now, sequence=2)

    (place,) = client.get("/api/v1/day/").json()["places"]
    progress = progress_of_work(Approval.objects.get(pk=approval.pk))
    assert [each.verdict for each in progress.steps[:2]] == ["off", ""]
    told = module("working", PROGRESS, place)
    assert told == _expected(progress)
    assert {step[5] for step in told["steps"]} == {None}
    page = client.get(f"/approvals/{approval.pk}/work/").content.decode()
    assert "The level was set up anew" in page
    assert "to read <strong" not in page


def test_a_setup_of_this_phone_ends_the_numbers_before_the_day_knows_of_it(module: UseModule) -> None:
    use = """({ anewSince }, [place, entries]) =>
      anewSince(place, [{ id: "s2", started_at: "2026-11-30T10:00:00Z" }], entries)"""
    place = {
        "work": {"survey": "s1", "setup": {"id": "a"}, "anew_since": None},
        "approval": {"approved_at": "2026-11-30T08:00:00Z"},
        "knows": ["known"],
    }

    def made(survey: str, at: str, key: str = "new") -> dict[str, Any]:
        return {"id": key, "kind": "setup", "noted_at": f"2026-11-30T{at}:00Z", "body": {"survey": survey}}

    ten = datetime.datetime(2026, 11, 30, 10, tzinfo=datetime.UTC).timestamp() * 1000
    assert module("working", use, [place, [made("s1", "07:00"), made("s2", "11:00", "known")]]) is None
    assert module("working", use, [place, [made("s2", "11:00")]]) == ten  # from when its survey began
    assert module("working", use, [place, [made("s1", "10:00")]]) == ten  # the plan's own survey, after its approval


def test_a_number_that_grows_downwards_turns_what_it_is_off_by(module: UseModule) -> None:
    """Read 12 1/2 where 12 1/4 was wanted: higher where a bigger number is higher, else lower."""
    use = "({ offBy }) => ['up', 'down'].map((sense) => offBy(12.5, 12.25, sense))"
    assert module("working", use) == [0.25, -0.25]
    assert (
        module("working", "({ offBy }) => [offBy(null, 1, 'up'), offBy(1, null, 'up'), offBy(1, 1, null)]")
        == [None] * 3
    )
