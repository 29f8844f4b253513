"""The demo as people see it: told over HTTP from what a real worker computed, once and once more."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from pytest_django import Settings
from pytest_django.live_server_helper import LiveServer

from calcs.demo.answers import CHECKS
from calcs.demo.client import Client as ApiClient
from calcs.demo.client import RefusedError
from calcs.demo.people import PEOPLE, seed, token_for
from calcs.demo.years import lighter
from calcs.demo.years import story as years
from calcs.demo.years.homes import CORNER
from calcs.models import Calculation, Due
from jobs.models import Company, Home, Job, TimeOff, Truck, User, Visit
from jobs.project.pytest_services import RealWorker
from surveys.models import Reading, Survey

KEPT = (Home, Survey, Reading, User, Job, Visit, TimeOff, Truck)


def story(address: str, command: str = "demo_story") -> str:
    out = StringIO()
    call_command(command, address=address, stdout=out)
    return out.getvalue()


def line_with(text: str, words: str) -> str:
    return next(line for line in text.splitlines() if words in line)


@pytest.mark.django_db
def test_outside_the_demo_nothing_is_made(settings: Settings) -> None:
    settings.DEMO = False
    with pytest.raises(CommandError, match="this is not a demo: set DEMO=true"):
        story("http://127.0.0.1:1")
    assert (User.objects.count(), Company.objects.count()) == (0, 0)


@pytest.mark.django_db
@pytest.mark.parametrize("address", ["nowhere", "https://127.0.0.1:1", "http://"])
def test_a_wrong_address_is_told_in_one_line(settings: Settings, address: str) -> None:
    settings.DEMO = True
    with pytest.raises(CommandError, match="give one such as") as refused:
        story(address)
    assert "\n" not in str(refused.value)


@pytest.mark.django_db
def test_a_service_that_does_not_answer_is_told_in_one_line(settings: Settings) -> None:
    settings.DEMO = True
    with pytest.raises(CommandError, match="the story stopped"):
        story("http://127.0.0.1:9")


@pytest.mark.django_db
def test_the_people_are_made_once_and_have_no_password() -> None:
    first, second = seed(), seed()
    assert first == second
    assert User.objects.count() == len(PEOPLE)
    assert not any(user.has_usable_password() for user in User.objects.all())


@pytest.mark.django_db
def test_a_demo_of_an_earlier_version_learns_what_later_ones_know() -> None:
    seed()
    User.objects.update(skills=[])
    Company.objects.update(latitude_deg=None, longitude_deg=None)
    seed()
    assert {user.username: user.skills for user in User.objects.all()} == {
        person.username: list(person.skills) for person in PEOPLE
    }
    assert Company.objects.get().latitude_deg is not None


def test_a_refusal_names_the_field(live_server: LiveServer) -> None:
    client = ApiClient(live_server.url, token_for(seed()["ibbie"], "desk"))
    with pytest.raises(RefusedError, match="width_ft") as refused:
        client.post("homes/", {"code": "X", "kind": "manufactured", "length_ft": "60"})
    client.close()
    assert refused.value.status == 400


def check_years(told: str) -> None:
    assert "One corner has settled by" in line_with(told, "  moved: ")
    assert "over, due " in line_with(told, "B6 and C6 first")
    assert "C6 first" in line_with(told, "OP-031 is booked from the due list")
    assert "steps of jacking noted by Orsola Finnick" in told
    assert "closed by Maren Tolliday" in told
    assert line_with(told, "visits in the two weeks to come").endswith("by 4 crews")


def check_filled(filled: str) -> None:
    assert "2 surveys of 1 more homes, computed while this serves" in filled
    assert "all is computed" in filled
    assert "homes are due within a year; first:" in filled
    assert Due.objects.count() == Home.objects.count()


def test_the_story_is_told_once_and_again_without_harm(
    live_server: LiveServer, real_worker: RealWorker, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.DEMO = True
    monkeypatch.setattr(years, "HOMES", (CORNER,))
    monkeypatch.setattr(years, "OTHERS", lighter.homes(7))  # two of them were lifted
    monkeypatch.setattr(years, "PROGRESS_S", 0.5)
    told = story(live_server.url)

    assert "115 new" in told
    assert "the same 115 once more: 0 new, 115 known already" in told
    assert "read D7 again: about 1/2 in off" in told
    assert "planted: one slip of 1/2 in at D7: found" in told
    assert "provisional: a doubtful reading touches D7" in told
    assert "raise E9 by 5/8" in told
    assert "what binds: drain DR1 " in line_with(told, "saves 35 min")
    assert "what binds: riser WR1 " in line_with(told, "saves 20 min")
    assert "R7" in line_with(told, "loosen before jacking")
    assert "over ultimate" in line_with(told, "worst anchor R7")
    assert "parts to load" in told
    assert "tension of straps, plucked or by gauge: 3 new" in told
    assert "38 of 38 steps done" in told
    assert "most at B3" in line_with(told, "loads as found")
    assert line_with(told, "chance that every pair ends within tolerance").count(" %") == 4
    assert "3 passes in 1 day" in line_with(told, "every jack strong enough")
    assert "footing at D9, E8, E9" in line_with(told, "supports, beyond a limit")
    assert "spacing after: too far apart" in line_with(told, "straps, right side: 7 there")
    assert "drain DN1 0 to 8 ft" in line_with(told, "raise only")  # which only those plans hang anew
    assert line_with(told, "drain DN1 falls").endswith(
        "0 to 8 ft 0.25 -> 0.25, 8 to 16 ft 0.28 -> 0.26, 16 to 24 ft 0.30 -> 0.28"
    )
    assert "R7" in line_with(told, "straps carry now")
    assert "before 1 suspect, global test fails" in told
    assert "after  0 suspect, global test passes" in told
    for link in [word for word in told.split() if "/demo/" in word]:
        assert Client().get(link.removeprefix(live_server.url)).status_code == 302
    shared = line_with(told, "/shared/").rpartition(live_server.url)[2]
    assert "How level it is" in Client().get(shared).content.decode()

    check_years(told)
    calendar = line_with(told, "/calendar/").rpartition(live_server.url)[2]
    assert b"BEGIN:VEVENT" in Client().get(calendar).content

    checks = Calculation.objects.filter(plan_checks__plan__survey__siting__home__code="PF-014")
    assert set(checks.values_list("kind", flat=True)) == set(CHECKS)
    rows = [model.objects.count() for model in KEPT]
    again = story(live_server.url)
    assert rows == [model.objects.count() for model in KEPT]
    assert Client().get(calendar).status_code == 404  # a new one in its place
    assert Client().get(shared).status_code == 404  # taken back: a new one in its place
    assert "/shared/" in again
    assert "this scenario is here already" in again
    assert "all its readings sent once more: 0 new, 116 known already" in again
    assert "plucked or by gauge: 0 new, 3 known already" in again
    assert "no reading is suspect" in again
    assert line_with(again, "least work") == line_with(again, "* least work")
    monkeypatch.setattr(years, "OTHERS", lighter.homes(1))
    check_filled(story(live_server.url, "demo_fill"))
