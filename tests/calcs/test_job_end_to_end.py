"""A whole job in its order: read, assessed, approved, worked, read in between, left, refused while open, closed."""

import uuid
from collections.abc import Callable, Mapping

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from calcs import chain
from calcs.approving import approve
from calcs.closing import what_is_open
from calcs.models import Approval, Closing, PassEntry, Plan
from calcs.work import progress_of_work
from jobs.models import StrapCheck, User
from surveys.models import Survey
from tests.calcs.approvable import READING_SD_IN, approvable_survey, plan_of, read_with_noise
from tests.calcs.finished import find_heights, take_photo
from tests.calcs.test_during import heights_of
from tests.calcs.working import HEIGHTS_IN, leave_out, work_off
from tests.factories import SurveyFactory, VisitFactory

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]
BAY = {"A1", "A2", "B1", "B2", "BM1", "BM2", "BM3"}


def heights_by(approval: Approval, before_in: Mapping[str, float]) -> dict[str, float]:
    """Return how high the frame stands where every step that is noted as done went as planned."""
    label = {str(point.pk): point.label for point in approval.siting.points.all()}
    stands = {name: before_in.get(name, 0.0) for name in label.values()}
    for step in progress_of_work(approval).steps:
        if step.is_done:
            stands[label[step.point]] += step.by_in
    return stands


def note_pass(client: Client, approval: Approval, number: int) -> None:
    """Note one pass on its page, step by step, each read as the number says."""
    for step in [step for step in progress_of_work(approval).steps if step.pass_number == number]:
        body = {"id": str(uuid.uuid4()), "point": step.point, "pass_number": number, "is_done": "on"}
        read = {} if step.read_in is None else {"typed": f"{step.read_in:.3f}"}
        assert client.post(reverse("approval-work", args=[approval.pk]), body | read).status_code == 302


def read(approval: Approval, stage: str, heights_in: Mapping[str, float], *, seed: int) -> Survey:
    survey: Survey = SurveyFactory(
        siting=approval.siting, stage=stage, reading_sd_in=READING_SD_IN, started_at=timezone.now()
    )
    return read_with_noise(survey, seed=seed, **heights_in)


def tick_one_by_one(boss: Client, gate: str, left: Survey, shut: set[str]) -> dict[str, str]:
    """Say one thing after the other on the closing's page; each is open until then, and closing is refused."""
    ticked = {"as_left": str(left.pk), "doors_windows": "not_tested", "gas": "not_said"}
    ticks = [
        ("no_as_left", {}),
        ("wedges", {"are_wedges_tapped": "on"}),
        ("doors", {"doors_windows": "work"}),
        ("straps", {"are_straps_tight": "on"}),
        ("leaks", {"is_leak_checked": "on"}),
        ("drains", {"are_drains_checked": "on"}),
        ("gas", {"gas": "not_moved"}),
        ("head_count", {"is_everybody_out": "on"}),
    ]
    for code, tick in ticks:
        ticked |= tick
        assert boss.post(gate, ticked | {"version": Closing.objects.get().version}).status_code == 302
        shut.discard(code)
        assert {one.code for one in what_is_open(Closing.objects.get())} == shut, code
        refused = boss.post(gate, {"do": "close", "version": Closing.objects.get().version})
        assert (refused.status_code, Closing.objects.get().closed_at) == (409, None)
    return ticked


def test_a_job_from_the_first_reading_to_the_closed_record(
    lead: User, crew: User, manager: User, client_for: ClientFor
) -> None:
    # Read as found, assessed, approved.
    found = approvable_survey()
    VisitFactory(siting=found.siting).crew.add(crew)
    first = approve(plan_of(found), lead)
    page, work_page = client_for(crew), reverse("approval-work", args=[first.pk])
    assert {row.point for row in progress_of_work(first).left} <= {
        str(key) for key in found.siting.points.values_list("pk", flat=True)
    }
    steps = progress_of_work(first).steps
    assert len({step.pass_number for step in steps}) > 1

    # The first pass, noted on the phone; then the worked bay is read.
    note_pass(page, first, 1)
    text = page.get(work_page).content.decode()
    assert text.count("as wanted, as closely as it can be read") == len([s for s in steps if s.pass_number == 1])
    stands = heights_by(first, HEIGHTS_IN)
    during = read(first, "during", stands, seed=2)
    leave_out(during, set(during.siting.points.values_list("label", flat=True)) - BAY)
    work_off(chain.ask(during.pk).new)
    told = heights_of(during)
    assert told["A1"] == pytest.approx(stands["A1"] - HEIGHTS_IN["BM1"], abs=4 * READING_SD_IN)
    assert len(told) == found.siting.points.count()

    # From where it stands: a plan of its own, approved of its own, in place of the first.
    plan = Plan.objects.current().get(survey=during, option="least_work")
    going_on = approve(plan, manager, "read again after the first pass", replaces=first)
    assert Approval.objects.standing().get() == going_on
    assert (
        page.post(work_page, {"id": str(uuid.uuid4()), "point": steps[0].point, "pass_number": 2}).status_code == 400
    )
    while following := progress_of_work(going_on).next_step():
        note_pass(page, going_on, following.pass_number)
    assert progress_of_work(going_on).left == ()

    # Nothing is checked yet: everything is open, and the gate stays shut.
    gate = reverse("approval-closing", args=[going_on.pk])
    boss = client_for(lead)
    assert boss.post(gate, {"doors_windows": "not_tested", "gas": "not_said"}).status_code == 302
    closing = Closing.objects.get()
    shut = {
        "no_as_left",
        "wedges",
        "doors",
        "straps",
        "strap_checks",
        "leaks",
        "drains",
        "gas",
        "head_count",
        "photos",
    }
    assert {one.code for one in what_is_open(closing)} == shut

    # One thing after the other is done; until the last of them it is refused each time.
    left = read(going_on, "as_left", heights_by(going_on, stands), seed=3)
    find_heights(left)
    ticked = tick_one_by_one(boss, gate, left, shut)
    for strap in found.siting.straps.all():
        StrapCheck.objects.create(strap=strap, grade="ok", author=crew, noted_at=timezone.now())
    assert {one.code for one in what_is_open(Closing.objects.get())} == {"photos"}
    assert boss.post(gate, {"do": "close", "version": Closing.objects.get().version}).status_code == 409
    take_photo(going_on, crew, noted_at=timezone.now())
    assert "Draft of a record as left" in boss.get(reverse("approval-record", args=[going_on.pk])).content.decode()

    # Closed: the record stands, and nothing changes any more.
    assert boss.post(gate, {"do": "close", "version": Closing.objects.get().version}).status_code == 302
    closed = Closing.objects.get()
    assert (closed.closed_by, closed.manager_reason) == (lead, "")
    record = boss.get(reverse("approval-record", args=[going_on.pk])).content.decode()
    assert "Record as left" in record
    assert "Draft" not in record
    assert boss.post(gate, ticked | {"exceptions": "later", "version": closed.version}).status_code == 403
    after = {"id": str(uuid.uuid4()), "point": steps[0].point, "pass_number": 1, "is_done": "on"}
    entries = PassEntry.objects.count()
    assert page.post(reverse("approval-work", args=[going_on.pk]), after).status_code == 400
    assert PassEntry.objects.count() == entries
