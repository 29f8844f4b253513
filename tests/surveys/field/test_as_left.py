"""The closing gate on the phone: what is open by its own rules, held against what the service says."""

from collections.abc import Callable
from typing import Any

from django.utils import timezone
from playwright.sync_api import expect

from calcs import chain
from calcs.closing import closing_of, what_is_open
from calcs.models import Closing
from calcs.work import progress_of_work
from jobs.models import Strap
from surveys.models import Survey
from tests.calcs.working import label_to_key, standing, work_off
from tests.factories import SurveyFactory, make_reading, read_home
from tests.surveys.field.conftest import OpenPhone
from tests.surveys.field.phones import Phone
from tests.surveys.field.test_work_day import kept
from tests.surveys.field.world import FieldWorld

World = Callable[..., FieldWorld]
LEFT_IN = {"A1": -0.0625, "B3": 0.75, "BM1": 3.0, "BM2": 4.0, "BM3": 5.0}


def read_as_left(world: FieldWorld) -> Survey:
    """Read the home as left, B3 far off its neighbours; the second round leaves out A2."""
    fields = {"stage": "as_left", "visit": world.visit, "author": world.lead, "started_at": timezone.now()}
    survey: Survey = SurveyFactory(siting=world.siting, **fields)
    read_home(survey, LEFT_IN)
    second = survey.readings.get(point__label="A2", round=2)
    make_reading(setup=second.setup, point=second.point, value_in=None, replaces=second, reason="not read")
    return survey


def notes_of(phone: Phone, world: FieldWorld, survey: Survey) -> None:
    """Say on the phone what the crew would: some of it checked, the survey handed in, Ana still below."""
    visit, approval = str(world.visit.pk), world.approval
    assert approval is not None
    straps = dict(Strap.objects.values_list("code", "pk"))
    steps = progress_of_work(approval).steps
    plan = {"plan": str(approval.plan_id), "is_done": True}
    tight = {"strap": str(straps["T1"]), "visit": visit, "grade": "ok", "slack_in": 0, "method": "look"}
    closing = {"are_wedges_tapped": True, "doors_windows": "stick", "gas": "not_moved", "is_everybody_out": True}
    entries: list[tuple[str, dict[str, Any]]] = [
        *(("pass", {**plan, "point": step.point, "pass_number": step.pass_number}) for step in steps),
        ("strap", tight),
        ("strap", {**tight, "strap": str(straps["T2"]), "grade": "fix", "text": "bolt bent"}),
        ("head_count", {"visit": visit, "person_name": "Ana Ruelas", "is_in": True}),
        ("closing", {"approval": str(approval.pk), "as_left": str(survey.pk), **closing}),
        ("submit", {"survey": str(survey.pk)}),
    ]
    phone.module(
        "outbox",
        """async (outbox, { visit, entries }) => {
          for (const [kind, body] of entries) await outbox.add(kind, body, { visit });
        }""",
        {"visit": visit, "entries": entries},
    )


def open_on_phone(phone: Phone) -> list[str]:
    """Return what the phone's own list says, sentence by sentence."""
    section = phone.page.locator("section", has=phone.page.get_by_role("heading", name="Still open, by this phone"))
    return section.locator("li").all_text_contents()


def test_what_is_open_is_what_the_service_says(open_phone: OpenPhone, field_world: World) -> None:
    """First by the phone alone and without a network, then the service of what has come in, in the same words."""
    world = field_world(is_approved=True)
    assert world.approval is not None
    survey = read_as_left(world)
    phone = kept(open_phone, world)
    page = phone.page
    notes_of(phone, world, survey)
    phone.go(f"visit/{world.visit.pk}/as-left")
    expect(page.get_by_text("By this phone, at once:")).to_be_visible()
    local = open_on_phone(phone)
    worst = page.get_by_text("worst pair").text_content()

    phone.mend()
    phone.expect_outbox("All sent")
    survey.refresh_from_db()
    assert survey.state == Survey.State.SUBMITTED
    work_off(chain.ask(survey.pk).new)
    expect(page.get_by_text("not read on this phone")).to_be_visible()  # handed in, the day has it without readings
    told = [one.words for one in what_is_open(closing_of(world.approval)) if one.code != "gas_moved"]
    assert local == told
    assert [one.code for one in what_is_open(closing_of(world.approval)) if one.code != "gas_moved"] == [
        *("one_round", "over", "doors_stick", "straps", "strap_slack", "leaks", "drains", "still_in", "photos"),
    ]
    pairs = standing(survey, "flatness").result["pairs"]
    furthest = max(pairs, key=lambda pair: abs(pair["difference_in"]))
    labels = {key: label for label, key in label_to_key(survey).items()}
    assert worst is not None
    assert {labels[furthest["a"]], labels[furthest["b"]]} == set(worst.replace(",", "").split()[2:5:2])


def test_the_service_is_told_apart_from_the_phone(open_phone: OpenPhone, field_world: World) -> None:
    """Whoever is only crew sees the gate, and notes nothing there."""
    world = field_world(is_approved=True)
    assert world.approval is not None
    Closing.objects.create(approval=world.approval, are_wedges_tapped=True)
    phone = open_phone(world.crew)
    expect(phone.page.get_by_role("link", name="Tamsin home")).to_be_visible()
    page = phone.go(f"visit/{world.visit.pk}/as-left")
    expect(page.get_by_role("heading", name="Still open, by the service")).to_be_visible()
    expect(page.get_by_text("A crew lead notes what was checked here.")).to_be_visible()
    expect(page.get_by_text("Not every wedge was tapped.")).to_have_count(0)
    expect(page.get_by_text("Nothing is said of the gas line.")).to_have_count(2)  # by either
