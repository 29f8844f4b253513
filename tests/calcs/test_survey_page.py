"""What the survey page says of things not read, of heights to reach, and of what was found broken."""

from typing import Any

import pytest
from django.urls import reverse

from calcs import chain, runner
from calcs.engine.units import format_length
from calcs.survey_page.record import read_record
from jobs.models import Support, User
from surveys.models import Survey
from tests.calcs.test_views import ClientFor, computed, shown
from tests.calcs.working import label_to_key, leave_out, read_survey, standing, work_off
from tests.factories import NeighbourPairFactory, PointFactory

pytestmark = pytest.mark.django_db

__all__ = ["computed"]


def test_supports_that_were_not_read_are_named_first_and_among_the_cautions(
    client_for: ClientFor, lead: User, computed: Survey
) -> None:
    page, text = shown(client_for(lead), computed)
    assert (page.not_read, "Not read" in text) == ("", False)
    assert "No reading is suspect, and each is checked by others." in text

    survey = read_survey()
    leave_out(survey, ["B1", "C2"])
    work_off(chain.ask(survey.pk).new)
    page, text = shown(client_for(lead), survey)
    sentence = "Not read: B1, C2. Nothing is known of them; read them before lifting."
    assert text.count(sentence) == 2
    assert text.index(sentence) < text.index('id="readings"')
    assert page.warnings[0] == sentence
    assert "No reading is suspect, and each is checked by others." not in text
    assert "but not every support was read" in text
    assert page.chosen.provisional == (
        "Provisional: beside what it moves stands B1, which was not read. Read there first."
    )


def test_the_end_of_a_pair_is_named_though_it_has_no_support(
    client_for: ClientFor, lead: User, computed: Survey
) -> None:
    floor = PointFactory(siting=computed.siting, label="F1", surface="floor")
    assert shown(client_for(lead), computed)[0].not_read == ""
    NeighbourPairFactory(siting=computed.siting, a=floor, b=computed.siting.points.get(label="A1"))
    assert "Not read: F1. Nothing is known of it" in shown(client_for(lead), computed)[0].not_read
    type(floor).objects.filter(pk=floor.pk).archive()
    assert shown(client_for(lead), computed)[0].not_read == ""


def test_without_a_mark_heights_are_told_from_a_support_that_stays(client_for: ClientFor, lead: User) -> None:
    survey = read_survey({"A1": -0.75, "B2": -0.125})
    leave_out(survey, ["BM1", "BM2", "BM3"])
    work_off(chain.ask(survey.pk).new)
    page, text = shown(client_for(lead), survey, option="raise_only")
    moved = {work.move.label for work in page.work if work.move.move_in}
    assert "A1" in moved
    assert "B2" not in moved
    # B2 is the lowest of what stays; A1, which moves, is lower still.
    to_in = next(move["to_in"] for move in _moves(survey, "raise_only") if move["code"] == label_to_key(survey)["A1"])
    heights = {height["point"]: height["height_in"] for height in standing(survey, "levels").result["heights"]}
    above = to_in - heights[label_to_key(survey)["B2"]]
    reach = next(work.move.reach for work in page.work if work.move.label == "A1")
    assert reach == f"{format_length(abs(above))} {'above' if above >= 0 else 'below'} B2".replace(
        " in ", "\u00a0in "
    )
    assert "read a mark that does not move" not in text


def test_without_a_mark_or_anything_that_stays_a_mark_is_asked_for(client_for: ClientFor, lead: User) -> None:
    survey = read_survey({"A1": -0.75})
    leave_out(survey, [*[f"{beam}{n}" for beam in "ABCD" for n in (1, 2, 3)][1:], "BM1", "BM2", "BM3"])
    Support.objects.filter(point__siting=survey.siting, point__label="A1").update(gap_in=1)
    work_off(chain.ask(survey.pk).new)
    page, text = shown(client_for(lead), survey)
    assert [(work.move.label, work.move.reach) for work in page.work] == [("A1", "")]
    assert page.work[0].move.move_in != 0
    assert "The frame is to read" not in text
    assert "read a mark that does not move" in text


def _moves(survey: Survey, name: str) -> list[dict[str, Any]]:
    options = standing(survey, "lift").result["options"]
    found: list[dict[str, Any]] = next(option["moves"] for option in options if option["name"] == name)
    return found


def test_the_missing_datum_is_no_caution(client_for: ClientFor, lead: User, computed: Survey) -> None:
    told = [warning["code"] for warning in standing(computed, "levels").result["warnings"]]
    assert "no_datum" in told
    assert "No datum is given" not in shown(client_for(lead), computed)[1]


def test_a_card_says_how_the_support_was_found_and_what_is_not_to_be_reused(
    client_for: ClientFor, lead: User, computed: Survey
) -> None:
    assert "As found" not in shown(client_for(lead), computed)[1]
    worn = Support.objects.filter(point__siting=computed.siting, point__label="A1")
    worn.update(stack=["shims", "plate_2x", "cap", "cap", "block"], keep_courses=1)
    worn.update(condition="fix", note="both caps split")
    work_off(chain.ask(computed.pk).new)
    page, text = shown(client_for(lead), computed)
    card = next(work for work in page.work if work.move.label == "A1")
    assert card.stack.remove
    assert card.stack.add
    assert (card.found, card.is_reused) == ("fix: both caps split", False)
    assert "As found: fix: both caps split" in text
    assert text.count("<strong>don't reuse</strong>") == 1
    worn.update(condition="note", note="a little damp")
    page, text = shown(client_for(lead), computed)
    assert "As found: a little damp" in text
    assert "don't reuse" not in text


def test_what_comes_while_the_page_is_gathered_is_new_to_it(
    client_for: ClientFor, lead: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    survey = read_survey()
    asked = chain.ask(survey.pk)

    def late(*args: Any, **fields: Any) -> Any:
        work_off(asked.new)
        return read_record(*args, **fields)

    monkeypatch.setattr("calcs.survey_page.read_record", late)
    client = client_for(lead)
    page, _ = shown(client, survey)
    assert page.options
    assert page.progress.state == "working"
    assert client.get(reverse("survey-progress", args=[survey.pk])).json()["stamp"] != page.progress.stamp


def test_what_follows_the_heights_is_said_to_be_computed_once_they_are_there(
    client_for: ClientFor, lead: User
) -> None:
    survey = read_survey()
    asked = chain.ask(survey.pk)
    client = client_for(lead)
    assert shown(client, survey)[1].count("Comes after the heights.") == 2
    runner.run(asked.root.pk)
    text = shown(client, survey)[1]
    assert "Comes after the heights." not in text
    assert text.count('<p class="quiet">Being computed.</p>') == 3  # how level it is, the lift, the straps
