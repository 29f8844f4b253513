"""Cautions: each hazard of the work is told at its moment, with its source, in words that can be translated."""

import re
import tomllib
from collections.abc import Callable
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import translation
from rest_framework.test import APIClient

from jobs import caution_words, cautions
from jobs.cautions import CAUTIONS, Moment
from jobs.models import Role, User
from tests.factories import NOON, UserFactory, VisitFactory

# The hazards of the work as they were listed before any of this was written: what each is, the moments at which its
# caution has to be in sight, and words without which it would be another caution. By hand, not from the program's
# file. Sources: 29 CFR 1926.305 and 1910.244 (jacks), .416 (electric), .651 (digging), .1203 and .1204 (confined
# space), CDC on hantavirus, NIOSH FACE 2002-04; the moments themselves are common practice, no source.
HAZARDS = {
    "collapse": ("before_jacking each_pass", "Block the load"),
    "jack_slip": ("before_jacking", "wood between"),
    "unseen_below": ("before_jacking before_lowering", "in and out by name"),
    "crawl_space": ("before_entry", "oxygen first"),
    "alone_below": ("before_entry", "stays outside"),
    "electric_shock": ("before_entry electrical", "live circuits"),
    "gas": ("before_jacking after", "soap"),
    "buried_lines": ("before_digging", "marked"),
    "undermining": ("before_digging", "footing"),
    "cutting_pipe": ("before_cutting", "Water off"),
    "rodents": ("before_entry", "never sweep dry"),
    "bites_and_stings": ("before_entry", "before you reach"),
    "asbestos_lead": ("before_disturbing", "until they are tested"),
    "heat_cold": ("before_entry", "breaks"),
    "carbon_monoxide": ("before_entry", "No engine"),
    "carrying": ("loading", "51 lb"),
    "strap_recoil": ("slackening", "Stand clear"),
    "wind": ("slackening", "wind is forecast"),
    "soft_ground": ("before_jacking before_entry", "mud"),
    "occupants": ("start", "Stove off"),
}
AT_MOMENTS = [(code, moment) for code, (moments, _) in HAZARDS.items() for moment in moments.split()]


@pytest.fixture(scope="module")
def crews_visit(django_db_setup: None, django_db_blocker: Any) -> Any:
    """A visit, and its page in English as its crew sees it: read once for all hazards."""
    from django.db import transaction

    with django_db_blocker.unblock(), transaction.atomic():
        person = UserFactory(roles=[Role.CREW])
        visit = VisitFactory()
        visit.crew.add(person)
        client, phone = Client(), APIClient()
        client.force_login(person)
        phone.force_login(person)
        page = client.get(reverse("visit", args=[visit.pk])).content.decode()
        day = phone.get(f"/api/v1/day/?date={NOON:%Y-%m-%d}").json()
        yield page, day
        transaction.set_rollback(True)


def told_on_page(page: str) -> dict[tuple[str, str], str]:
    """Return what the page says, by caution and moment."""
    found = {}
    for moment, section in re.findall(r'<details class="moment" id="(\w+)"(.*?)</details>', page, re.DOTALL):
        for code, text in re.findall(r'data-caution="(\w+)">(.*?)</li>', section, re.DOTALL):
            found[code, moment] = unescape(re.sub(r"<[^>]+>", " ", text))
    return found


@pytest.mark.django_db
@pytest.mark.parametrize(("code", "moment"), AT_MOMENTS)
def test_each_hazard_s_caution_is_shown_at_its_moment(code: str, moment: str, crews_visit: Any) -> None:
    page, day = crews_visit
    said = told_on_page(page)[code, moment]
    words = HAZARDS[code][1]
    assert words in said
    assert CAUTIONS[code].source in said
    (visit,) = day["visits"]
    (there,) = [at for at in visit["cautions_by_moment"] if at["moment"] == moment]
    (caution,) = [one for one in there["cautions"] if one["code"] == code]
    assert words in caution["text"]
    assert caution["source"] == CAUTIONS[code].source


@pytest.mark.django_db
def test_no_caution_is_shown_where_it_does_not_belong(crews_visit: Any) -> None:
    page, day = crews_visit
    assert sorted(told_on_page(page)) == sorted(AT_MOMENTS)
    (visit,) = day["visits"]
    at_moments = visit["cautions_by_moment"]
    assert sorted((one["code"], at["moment"]) for at in at_moments for one in at["cautions"]) == sorted(AT_MOMENTS)
    assert [at["moment"] for at in at_moments] == Moment.values
    assert page.index('id="before_entry"') < page.index('id="slackening"') < page.index('id="before_jacking"')


def test_every_moment_has_a_caution_and_every_caution_its_words() -> None:
    assert {moment for caution in CAUTIONS.values() for moment in caution.moments} == set(Moment)
    assert all(caution.text and caution.hazard for caution in CAUTIONS.values())


@pytest.mark.parametrize("code", sorted(CAUTIONS))
def test_a_source_is_a_rule_a_report_or_said_to_be_none(code: str) -> None:
    known = ("CFR", "NIOSH", "OSHA", "CDC", "common practice, no source", "from memory")
    assert any(word in CAUTIONS[code].source for word in known)


def test_a_moment_that_nobody_knows_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = Path(cautions.__file__).with_suffix(".toml").read_text().replace('"slackening"', '"whenever"')
    (tmp_path / "cautions.toml").write_text(text)
    monkeypatch.setattr(cautions, "__file__", str(tmp_path / "cautions.py"))
    with pytest.raises(ValueError, match="whenever"):
        cautions._load()


def test_the_words_to_translate_are_those_of_the_file() -> None:
    entries = tomllib.loads(Path(cautions.__file__).with_suffix(".toml").read_text()).values()
    for name, words in (
        ("hazard", caution_words.HAZARDS),
        ("text", caution_words.TEXTS),
        ("source", caution_words.SOURCES),
    ):
        assert {entry[name] for entry in entries} == set(words)


def test_cautions_are_said_in_spanish() -> None:
    words = {*caution_words.HAZARDS, *caution_words.TEXTS, *caution_words.SOURCES}
    words |= {str(moment.label) for moment in Moment}
    with translation.override("es"):
        assert [text for text in sorted(words) if translation.gettext(text) == text] == []


def test_other_words_are_another_text(monkeypatch: pytest.MonkeyPatch) -> None:
    english, spanish = cautions.told("wind", "en"), cautions.told("wind", "es")
    assert (english.text_sha256 == spanish.text_sha256) == (english.text == spanish.text)
    changed = cautions.Caution(code="wind", hazard="Wind", text="Mind the wind.", source="-", moments=())
    cautions.told.cache_clear()
    monkeypatch.setitem(CAUTIONS, "wind", changed)
    assert cautions.told("wind", "en").text_sha256 != english.text_sha256
    cautions.told.cache_clear()


@pytest.mark.django_db
def test_the_page_is_in_the_reader_s_language(client_for: Callable[[User], Client], crew: User) -> None:
    visit = VisitFactory()
    visit.crew.add(crew)
    crew.language = "es"
    crew.save()
    page = client_for(crew).get(reverse("visit", args=[visit.pk])).content.decode()
    with translation.override("es"):
        for text in caution_words.TEXTS:
            assert translation.gettext(text) in unescape(page)
