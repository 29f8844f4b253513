"""What else a phone tells of a visit: who is under the home, how the visit stands, what was checked at its end."""

import datetime
import itertools
from typing import Any

import pytest

from calcs.models import Closing
from jobs.head_counts import under_now
from jobs.models import HeadCount, Role, Siting, User, Visit, VisitReport
from surveys.models import Reading
from tests.calcs.api.syncing import Entry, Phone, outdoors
from tests.calcs.approved import approved_home, withdrawn
from tests.factories import (
    HeadCountFactory,
    PointFactory,
    SetupFactory,
    SitingFactory,
    SurveyFactory,
    UserFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def siting(crew: User) -> Siting:
    siting = SitingFactory()
    outdoors(crew, siting)
    return siting


@pytest.fixture
def visit(siting: Siting) -> Visit:
    return Visit.objects.get(siting=siting)


@pytest.fixture
def phone(api_for: Any, crew: User) -> Phone:
    return Phone(api_for(crew))


# -- who is under the home -----------------------------------------------------------------------------------------


def count(phone: Phone, visit: Visit, name: str, *, is_in: bool = True) -> Entry:
    return phone.entry("head_count", {"visit": str(visit.pk), "person_name": name, "is_in": is_in})


def test_heads_are_counted_once_however_often_they_are_sent(phone: Phone, visit: Visit, crew: User) -> None:
    sent = [count(phone, visit, "Ana"), count(phone, visit, "  Bo   Marsh "), count(phone, visit, "ana", is_in=False)]
    assert phone.states(*sent) == ["taken"] * 3
    assert phone.states(*sent) == ["repeated"] * 3
    rows = HeadCount.objects.order_by("noted_at")
    assert [(row.person_name, row.is_in, row.author) for row in rows] == [
        ("Ana", True, crew),
        ("Bo Marsh", True, crew),
        ("ana", False, crew),
    ]
    assert under_now(rows) == ("Bo Marsh",)


def test_the_newest_count_by_the_time_it_was_noted_says_where_somebody_is() -> None:
    noon = datetime.datetime(2026, 3, 3, 12, tzinfo=datetime.UTC)
    visit = VisitFactory()
    at = [noon + datetime.timedelta(minutes=minute) for minute in range(3)]
    rows = [
        HeadCountFactory(visit=visit, person_name="Ana", is_in=is_in, noted_at=when)
        for when, is_in in zip(at, (True, False, True), strict=True)
    ]
    for order in itertools.permutations(rows):
        assert under_now(order) == ("Ana",)
    for order in itertools.permutations(rows[:2]):
        assert under_now(order) == ()


def test_of_two_counts_at_one_moment_the_device_s_own_order_holds() -> None:
    visit = VisitFactory()
    later = HeadCountFactory(visit=visit, person_name="Ana", is_in=False, sequence=2)
    earlier = HeadCountFactory(visit=visit, person_name="Ana", is_in=True, sequence=1)
    assert under_now([later, earlier]) == ()


def test_a_count_of_nobody_or_elsewhere_is_set_aside(phone: Phone, visit: Visit) -> None:
    told = phone.send(
        count(phone, visit, "  "),
        count(phone, visit, "x" * 81),
        count(phone, VisitFactory(), "Ana"),
        phone.entry("head_count", {"visit": str(visit.pk), "person_name": "Ana"}),
    )
    fields = ["body.person_name", "body.person_name", "body.visit", "body.is_in"]
    assert [list(one["fields"]) for one in told] == [[field] for field in fields]
    assert not HeadCount.objects.exists()


# -- how the visit stands ------------------------------------------------------------------------------------------


def report(phone: Phone, visit: Visit, state: str, **body: Any) -> Entry:
    return phone.entry("visit_report", {"visit": str(visit.pk), "state": state, **body})


def state_of(visit: Visit) -> str:
    return Visit.objects.get(pk=visit.pk).state


def test_a_visit_goes_by_what_its_crew_tells(phone: Phone, visit: Visit) -> None:
    there, done = report(phone, visit, "on_site"), report(phone, visit, "done")
    assert (phone.states(there), state_of(visit)) == (["taken"], "on_site")
    assert (phone.states(done), state_of(visit)) == (["taken"], "done")
    late = report(phone, visit, "on_site")
    assert (phone.states(late, there), state_of(visit)) == (["taken", "repeated"], "done")  # it is over
    assert VisitReport.objects.count() == 3


def test_refused_entry_is_an_outcome_with_its_reason(phone: Phone, visit: Visit) -> None:
    (told,) = phone.send(report(phone, visit, "refused"))
    assert (told["state"], list(told["fields"])) == ("set_aside", ["body.reason"])
    assert state_of(visit) == "booked"
    assert phone.states(report(phone, visit, "refused", reason="the gate is locked")) == ["taken"]
    assert state_of(visit) == "refused"
    (told,) = phone.send(report(phone, visit, "cancelled"))  # which is the office's to say
    assert (told["state"], list(told["fields"])) == ("set_aside", ["body.state"])


def test_a_cancelled_visit_stays_so(api_for: Any, visit: Visit, lead: User) -> None:
    Visit.objects.filter(pk=visit.pk).update(state="cancelled", lead=lead)
    phone = Phone(api_for(lead))
    assert phone.states(report(phone, visit, "on_site")) == ["taken"]
    assert state_of(visit) == "cancelled"


def test_what_somebody_else_tells_of_a_visit_is_kept_and_changes_nothing(api_for: Any, visit: Visit) -> None:
    phone = Phone(api_for(UserFactory(roles=[Role.CREW_LEAD])))
    assert phone.states(report(phone, visit, "done")) == ["taken"]
    assert (state_of(visit), VisitReport.objects.count()) == ("booked", 1)


# -- what was checked at the end -----------------------------------------------------------------------------------


def checked(phone: Phone, approval: Any, **body: Any) -> Entry:
    return phone.entry("closing", {"approval": str(approval.pk), **body})


def test_two_phones_check_and_neither_writes_over_the_other(api_for: Any) -> None:
    approval = approved_home()
    one, two = (Phone(api_for(UserFactory(roles=[Role.CREW_LEAD])), name=name) for name in ("one", "two"))
    wedges = checked(one, approval, are_wedges_tapped=True, doors_windows="stick", exceptions="bathroom door rubs")
    assert one.states(wedges) == ["taken"]
    assert two.states(checked(two, approval, is_leak_checked=True)) == ["taken"]
    assert one.states(wedges, checked(one, approval, doors_windows="work")) == ["repeated", "taken"]
    closing = Closing.objects.get(approval=approval)
    assert (closing.are_wedges_tapped, closing.is_leak_checked, closing.doors_windows, closing.exceptions) == (
        True,
        True,
        "work",
        "bathroom door rubs",
    )
    assert (closing.closed_at, closing.are_drains_checked) == (None, False)
    assert closing.version == 3  # one for each that was taken


def test_a_phone_neither_signs_nor_changes_what_is_closed(api_for: Any, lead: User) -> None:
    approval = approved_home()
    phone = Phone(api_for(lead))
    (told,) = phone.send(checked(phone, approval, closed_by=str(lead.pk)))
    assert (told["state"], list(told["fields"])) == ("set_aside", ["body.closed_by"])
    (told,) = phone.send(checked(phone, approval, gas="checked"))
    assert (told["state"], list(told["fields"])) == ("set_aside", ["body.gas_checked_by"])
    assert not Closing.objects.exists()
    now = datetime.datetime.now(datetime.UTC)
    Closing.objects.create(approval=approval, closed_at=now, closed_by=lead)
    assert phone.states(checked(phone, approval, are_wedges_tapped=True)) == ["set_aside permission_denied"]
    assert not Closing.objects.get().are_wedges_tapped


def test_only_who_leads_checks_and_nobody_what_is_withdrawn(api_for: Any, crew: User, lead: User) -> None:
    approval = approved_home()
    outdoors(crew, approval.siting)
    phone = Phone(api_for(crew))
    assert phone.states(checked(phone, approval, are_wedges_tapped=True)) == ["set_aside permission_denied"]
    withdrawn(approval)
    phone = Phone(api_for(lead))
    assert phone.states(checked(phone, approval, are_wedges_tapped=True)) == ["set_aside withdrawn"]
    assert not Closing.objects.exists()


# -- one device a drifting setup -----------------------------------------------------------------------------------


def test_a_drifting_setup_is_read_from_its_own_device_alone(
    phone: Phone, siting: Siting, crew: User, api_for: Any
) -> None:
    survey = SurveyFactory(siting=siting, author=crew)
    setup = SetupFactory(survey=survey, code="S1", has_drift=True, device=phone.name)
    point = PointFactory(siting=siting)
    own = phone.reading(setup, point, "3 1/2")
    other = Phone(api_for(crew), name="another phone")
    strange = other.reading(setup, point, "3 5/8")
    assert phone.states(own) == ["taken"]
    (told,) = other.send(strange)
    assert (told["state"], told["code"], list(told["fields"])) == ("set_aside", "other_device", ["body.setup"])
    assert phone.name in told["fields"]["body.setup"]
    assert "start a setup of your own" in told["fields"]["body.setup"]
    start = other.setup(survey, code="S2", has_drift=True, device=other.name)
    mended = {**strange, "body": {**strange["body"], "setup": start["id"]}}
    assert other.states(start, mended) == ["taken", "taken"]
    assert other.states(other.correction(own, "3 9/16")) == ["taken"]  # corrected from anywhere
    assert Reading.objects.filter(setup=setup).count() == 2


def test_a_setup_that_stands_still_is_read_from_any_device(phone: Phone, siting: Siting, crew: User) -> None:
    survey = SurveyFactory(siting=siting, author=crew)
    point = PointFactory(siting=siting)
    for drift, device in ((False, "another phone"), (True, "")):
        setup = SetupFactory(survey=survey, has_drift=drift, device=device)
        assert phone.states(phone.reading(setup, point, "3")) == ["taken"]
