"""The work by an approved plan: what the log says is done and left, and how what was read is held against it."""

import math
import re
import uuid
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from calcs import codec, questions
from calcs.engine.lift import LiftInput
from calcs.engine.units import format_sixteenths
from calcs.models import Approval, Closing, PassEntry, Plan, PlanCheck
from calcs.work import note_step, progress_of_work
from jobs.cautions import Moment, shown_at
from jobs.errors import DomainError
from jobs.field_work import note_strap_check
from jobs.models import Connection, Home, Paper, Point, Strap, StrapCheck, Support, User
from tests.calcs.approved import approved, approved_home, withdrawn
from tests.calcs.documents.planned import planned
from tests.factories import UserFactory, VisitFactory

CHANGED = "have changed since this plan was approved"
pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]


@pytest.fixture
def approval() -> Approval:
    return approved_home()


def passes_of(approval: Approval) -> dict[str, Any]:
    """Return the order of jacking as it is stored."""
    return stored(approval.plan, "passes")


def stored(plan: Plan, kind: str) -> dict[str, Any]:
    """Return what a check of a plan found, as it is stored."""
    result: dict[str, Any] = PlanCheck.objects.get(plan=plan, kind=kind).calculation.result
    return result


def steps_of(approval: Approval) -> list[tuple[int, str, float]]:
    """Return every step as it is stored: pass, support, by how much."""
    return [
        (each["number"], step["code"], step["by_in"])
        for each in passes_of(approval)["passes"]
        for group in each["groups"]
        for step in group
    ]


def entry(approval: Approval, number: int, point: str, **fields: Any) -> PassEntry:
    usual = {"author": UserFactory(), "noted_at": timezone.now()}
    return PassEntry.objects.create(plan=approval.plan, point_id=point, pass_number=number, **usual | fields)


def wanted(approval: Approval, number: int, point: str) -> float:
    """Return the number to read, as it is stored."""
    found = next(each for each in passes_of(approval)["passes"] if each["number"] == number)
    return float(next(one["read_in"] for one in found["numbers"] if one["code"] == point))


def test_nothing_noted_all_is_left_and_the_first_step_comes_next(approval: Approval) -> None:
    progress = progress_of_work(approval)
    assert [(s.pass_number, s.point, s.by_in) for s in progress.steps] == steps_of(approval)
    assert not any(step.is_done for step in progress.steps)
    lift = next(o for o in approval.plan.lift.result["options"] if o["name"] == approval.plan.option)
    changes = {m["code"]: m["support_change_in"] for m in lift["moves"] if m["support_change_in"]}
    assert changes
    assert {s.point: s.left_in for s in progress.left} == changes
    assert (progress.next_step().pass_number, progress.next_step().point) == steps_of(approval)[0][:2]


def test_what_is_done_is_taken_off_what_is_left_until_nothing_is(approval: Approval) -> None:
    steps = steps_of(approval)
    total = {s.point: s.change_in for s in progress_of_work(approval).supports}
    for number, point, by_in in steps:
        entry(approval, number, point)
        total[point] -= by_in
        progress = progress_of_work(approval)
        left = {s.point: s.left_in for s in progress.supports}
        assert left == pytest.approx(total, abs=1e-9)
    assert progress.left == ()
    assert progress.next_step() is None
    assert all(each.is_done for each in progress.passes)


def test_a_later_entry_corrects_an_earlier_one_whatever_the_order_in_which_they_came(approval: Approval) -> None:
    number, point, _by = steps_of(approval)[0]
    now = timezone.now()
    entry(approval, number, point, is_done=False, noted_at=now)
    entry(approval, number, point, is_done=True, noted_at=now - timedelta(minutes=5))
    assert not progress_of_work(approval).steps[0].is_done
    entry(approval, number, point, is_done=True, noted_at=now + timedelta(minutes=5))
    assert progress_of_work(approval).steps[0].is_done


def test_entries_of_another_plan_count_for_nothing(approval: Approval) -> None:
    number, _point, _by = steps_of(approval)[0]
    other = approved_home()
    PassEntry.objects.create(
        plan=other.plan,
        point=other.siting.points.get(label="A1"),
        pass_number=number,
        author=UserFactory(),
        noted_at=timezone.now(),
    )
    assert not any(step.is_done for step in progress_of_work(approval).steps)


@pytest.mark.parametrize(
    ("sds", "verdict"),
    [(0.0, "as_wanted"), (1.9, "as_wanted"), (-1.9, "as_wanted"), (2.1, "unsure"), (-2.9, "unsure"), (3.1, "off")],
)
def test_what_was_read_is_held_against_the_number_by_the_noise(approval: Approval, sds: float, verdict: str) -> None:
    """Two readings at 1/16 in and a wedge's seat: variances add up (JCGM 100:2008, 5.1.2)."""
    number, point, _by = steps_of(approval)[0]
    seating_in = codec.decode(approval.plan.lift.input, LiftInput).seating_sd_in
    sd_in = math.sqrt(0.0625**2 + 0.0625**2 + seating_in**2)
    value_in = wanted(approval, number, point) + sds * sd_in
    entry(approval, number, point, value_in=f"{value_in:.6f}", typed="as read")
    step = progress_of_work(approval).steps[0]
    assert step.off_in == pytest.approx(sds * sd_in, abs=1e-5)
    assert step.verdict == verdict


def test_where_bigger_is_lower_a_bigger_number_stands_lower() -> None:
    approval = approved_home()
    number, point, _by = steps_of(approval)[0]
    check = PlanCheck.objects.get(plan=approval.plan, kind="passes")
    turned = check.calculation.input | {"setup": check.calculation.input["setup"] | {"sense": "down"}}
    copy = check.calculation
    copy.pk, copy.input, copy.input_sha256 = uuid.uuid4(), turned, "1" * 64
    copy.save(force_insert=True)
    PlanCheck.objects.filter(pk=check.pk).update(calculation=copy)
    entry(approval, number, point, value_in=f"{wanted(approval, number, point) + 1:.6f}", typed="x")
    assert progress_of_work(approval).steps[0].off_in == pytest.approx(-1, abs=1e-5)


def test_without_an_order_of_jacking_a_support_goes_in_one(approval: Approval) -> None:
    PlanCheck.objects.filter(plan=approval.plan, kind="passes").delete()
    progress = progress_of_work(approval)
    assert (progress.passes, progress.steps) == ((), ())
    first = progress.left[0]
    entry(approval, 1, first.point)
    after = progress_of_work(approval)
    assert first.point not in {one.point for one in after.left}
    assert len(after.left) == len(progress.left) - 1


# -- noting --------------------------------------------------------------------------------------------------------


def note(approval: Approval, by: User, **fields: Any) -> bool:
    number, point, _by = steps_of(approval)[0]
    usual = {"key": uuid.uuid4(), "point": Point.objects.get(pk=point), "pass_number": number, "is_done": True}
    return note_step(approval=approval, by=by, **usual | fields)


def test_a_step_is_noted_with_what_was_typed(approval: Approval, crew: User) -> None:
    assert note(approval, crew, typed=" 36 1/2 ", remark=" wedge split ")
    row = PassEntry.objects.get()
    assert (str(row.value_in), row.typed, row.note, row.author) == ("36.500000", "36 1/2", "wedge split", crew)


def test_pressing_twice_keeps_one(approval: Approval, crew: User) -> None:
    key = uuid.uuid4()
    assert [note(approval, crew, key=key), note(approval, crew, key=key)] == [True, False]


def test_what_is_no_length_is_told_at_its_field(approval: Approval, crew: User) -> None:
    with pytest.raises(DomainError) as told:
        note(approval, crew, typed="half")
    assert (told.value.status, list(told.value.fields)) == (400, ["typed"])
    assert not PassEntry.objects.exists()


def test_the_office_notes_no_work(approval: Approval, office: User) -> None:
    with pytest.raises(DomainError) as told:
        note(approval, office)
    assert told.value.status == 403


def test_who_may_not_note_is_told_who_does(
    approval: Approval, office: User, crew: User, client_for: ClientFor
) -> None:
    words = "its steps are noted by the crew"
    _context, text = shown(client_for(office), approval)
    assert words in text
    _context, text = shown(client_for(on_the_crew(approval, crew)), approval)
    assert words not in text


def test_nothing_is_noted_of_work_that_is_over(approval: Approval, crew: User, lead: User) -> None:
    closing = Closing.objects.create(approval=approval, closed_at=timezone.now(), closed_by=lead)
    with pytest.raises(DomainError, match="closed") as told:
        note(approval, crew)
    assert told.value.status == 409
    closing.delete()
    with pytest.raises(DomainError, match="withdrawn"):
        note(withdrawn(approval), crew)
    assert not PassEntry.objects.exists()


def test_nothing_is_noted_under_an_archived_home(approval: Approval, crew: User) -> None:
    Home.objects.filter(pk=approval.siting.home_id).archive()
    with pytest.raises(DomainError) as told:
        note(approval, crew)
    assert (told.value.code, PassEntry.objects.count()) == ("archived", 0)


# -- the page ------------------------------------------------------------------------------------------------------


def on_the_crew(approval: Approval, crew: User) -> User:
    VisitFactory(siting=approval.siting).crew.add(crew)
    return crew


def shown(client: Client, approval: Approval, **query: str) -> tuple[Any, str]:
    answer = client.get(reverse("approval-work", args=[approval.pk]), query)
    assert answer.status_code == 200
    return answer.context, answer.content.decode()


def test_the_page_tells_each_pass_with_its_number_and_its_cautions(
    approval: Approval, crew: User, client_for: ClientFor
) -> None:
    context, text = shown(client_for(on_the_crew(approval, crew)), approval)
    labels = {str(point.pk): point.label for point in approval.siting.points.all()}
    told = [(view.number, row.label) for view in context["passes"] for group in view.groups for row in group]
    assert told == [(number, labels[point]) for number, point, _by in steps_of(approval)]
    assert context["passes"][0].is_open
    assert {one.code for one in shown_at(Moment.EACH_PASS)} == set(re.findall(r'data-caution="(\w+)"', text))
    assert "What is left" in text


def test_what_comes_before_the_first_pass_is_told_until_it_is_noted(client_for: ClientFor, lead: User) -> None:
    plan = planned()  # of a home with a strap that holds it and a connection that gives way nowhere
    approval, client = approved(plan), client_for(lead)
    context, text = shown(client, approval)
    (strap,) = [each for each in stored(plan, "straps")["straps"] if each["handling"] == "loosen_first"]
    code = Strap.objects.get(pk=strap["code"]).code
    by = format_sixteenths(strap["slack_needed_in"])
    freed = Connection.objects.get(pk=questions.option_of(plan).freed[0])
    assert context["first"][:2] == (f"strap {code}: loosen it by {by}\u00a0in", f"{freed}: freed by licensed plumber")
    assert "Before the first pass" in text
    jacks = [
        step["jack_lb"] for each in stored(plan, "passes")["passes"] for group in each["groups"] for step in group
    ]
    assert all(f"jack {jack_lb:,.0f} lb at most" in text for jack_lb in jacks)
    number, point, _by = steps_of(approval)[0]
    entry(approval, number, point)
    assert "Before the first pass" not in shown(client, approval)[1]


def test_a_step_is_noted_on_the_page_and_told_with_who_and_how_far_off(
    approval: Approval, crew: User, client_for: ClientFor
) -> None:
    client = client_for(on_the_crew(approval, crew))
    number, point, _by = steps_of(approval)[0]
    context, text = shown(client, approval, step=f"{number}-{point}")
    form = next(row.form for view in context["passes"] for group in view.groups for row in group if row.form)
    sent = {name: form[name].value() for name in ("id", "point", "pass_number")}
    value_in = wanted(approval, number, point) + 0.5
    answer = client.post(
        reverse("approval-work", args=[approval.pk]), sent | {"is_done": "on", "typed": f"{value_in:.4f}"}
    )
    assert answer.status_code == 302
    _context, text = shown(client, approval)
    assert str(crew) in text
    assert "higher than wanted: off: stop, look, read again" in text


@pytest.mark.parametrize(("off_in", "is_open"), [(0.0, False), (0.5, True)])
def test_a_pass_that_is_done_stays_open_while_what_was_read_is_off(
    approval: Approval, lead: User, client_for: ClientFor, off_in: float, is_open: bool
) -> None:
    for number, point, _by in steps_of(approval):
        value_in = wanted(approval, number, point) + off_in
        entry(approval, number, point, value_in=f"{value_in:.6f}", typed="as read")
    context, _text = shown(client_for(lead), approval)
    assert all(view.is_done for view in context["passes"])
    assert {view.is_open for view in context["passes"]} == {is_open}
    assert context["has_off"] == is_open


def test_what_is_refused_is_told_beside_what_was_typed(approval: Approval, crew: User, client_for: ClientFor) -> None:
    client = client_for(on_the_crew(approval, crew))
    number, point, _by = steps_of(approval)[0]
    body = {"id": str(uuid.uuid4()), "point": point, "pass_number": number, "typed": "half an inch"}
    answer = client.post(reverse("approval-work", args=[approval.pk]), body)
    text = answer.content.decode()
    assert (answer.status_code, PassEntry.objects.count()) == (400, 0)
    assert "half an inch" in text
    assert "is not a length" in text


def test_a_support_of_another_home_is_refused(approval: Approval, crew: User, client_for: ClientFor) -> None:
    other = approved_home().siting.points.get(label="A1")
    body = {"id": str(uuid.uuid4()), "point": other.pk, "pass_number": 1, "is_done": "on"}
    client = client_for(on_the_crew(approval, crew))
    answer = client.post(reverse("approval-work", args=[approval.pk]), body)
    assert (answer.status_code, PassEntry.objects.count()) == (400, 0)
    assert "no such support" in answer.content.decode()


def test_work_that_is_over_shows_no_form_and_says_why(approval: Approval, lead: User, client_for: ClientFor) -> None:
    number, point, _by = steps_of(approval)[0]
    client = client_for(lead)
    assert "Note it" in shown(client, approval, step=f"{number}-{point}")[1]
    withdrawn(approval)
    text = shown(client, approval, step=f"{number}-{point}")[1]
    assert "Note it" not in text
    assert "This approval is withdrawn" in text


def test_a_plan_that_does_not_hold_is_not_begun(approval: Approval, lead: User, client_for: ClientFor) -> None:
    client = client_for(lead)
    assert CHANGED not in shown(client, approval)[1]
    Support.objects.filter(point__siting=approval.siting, point__label="A1").update(max_raise_in=0)
    assert CHANGED in shown(client, approval)[1]
    number, point, _by = steps_of(approval)[0]
    entry(approval, number, point)
    assert CHANGED not in shown(client, approval)[1]  # what is begun is not told so at each step


def test_work_that_has_begun_is_stopped_by_what_it_does_not_explain(
    approval: Approval, lead: User, client_for: ClientFor
) -> None:
    client = client_for(lead)
    number, point, _by = steps_of(approval)[0]
    entry(approval, number, point)
    assert "Stop and ask" not in shown(client, approval)[1]
    approval.assessment.save()
    text = shown(client, approval)[1]
    assert "Stop and ask before anything more moves:" in text
    assert "The assessment was changed since." in text


def test_without_its_papers_work_is_not_begun(approval: Approval, lead: User, client_for: ClientFor) -> None:
    client = client_for(lead)
    assert "licence: none is noted" in shown(client, approval)[1]
    today = timezone.localdate()
    for kind in ("licence", "insurance", "jacks"):
        Paper.objects.create(kind=kind, number="7", issued_on=today, expires_on=today)
    assert "begin:</strong>" not in shown(client, approval)[1]
    hold = Paper.objects.create(kind="hold", siting=approval.siting, issued_on=today)
    text = shown(client, approval)[1]
    assert "begin:</strong>" in text
    assert "nobody starts until it is released" in text
    number, point, _by = steps_of(approval)[0]
    entry(approval, number, point)
    hold.save()
    assert "begin:</strong>" not in shown(client, approval)[1]


def test_the_page_takes_as_many_queries_however_much_was_noted(
    approval: Approval, lead: User, client_for: ClientFor
) -> None:
    client, counts = client_for(lead), []
    number, point, _by = steps_of(approval)[0]
    for entries in (1, 2):
        for _ in range(entries):
            entry(approval, number, point)
        with CaptureQueriesContext(connection) as queries:
            shown(client, approval)
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_a_strap_that_is_loosened_for_the_work_is_no_reason_against_it(
    approval: Approval, client_for: ClientFor
) -> None:
    """It changes the record that the plan was made from: so does the work itself."""
    strap = Strap.objects.get(siting=approval.siting, code="T1")
    usual = {"strap": strap, "author": UserFactory(), "noted_at": timezone.now(), "grade": "note", "text": "loosened"}
    address = reverse("approval-work", args=[approval.pk])
    lead = UserFactory(roles=["crew_lead"])
    Strap.objects.filter(pk=strap.pk).update(slack_in=Decimal("0.25"))
    assert CHANGED in client_for(lead).get(address).content.decode()
    note_strap_check(StrapCheck(id=uuid.uuid4(), slack_in=Decimal("0.375"), **usual))
    assert CHANGED not in client_for(lead).get(address).content.decode()
