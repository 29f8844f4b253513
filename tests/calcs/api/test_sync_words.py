"""Whatever a phone sends that can't be taken: each reason is kept in English, and there is Spanish for it."""

import uuid
from typing import Any

import pytest
from django.utils import translation

from jobs.models import Siting, User
from jobs.spoken import retold
from surveys.models import SyncEntry
from tests.calcs.api.syncing import Phone, outdoors
from tests.factories import PointFactory, SetupFactory, SitingFactory, SurveyFactory

pytestmark = pytest.mark.django_db

ODD = (
    *(None, "", "x" * 3000, "1/7", "1e400", -9, 2**70, 0.123456789, True, [], ["x"], {"a": 1}),
    *("2026-03-03T25:00:00Z", "0001-01-01T00:00:00+14:00", str(uuid.UUID(int=7))),
)
FIELDS = {
    "survey": "siting visit stage method unit reading_sd_in started_at note",
    "setup": "survey code sense sense_trial reading_sd_in has_drift device note",
    "reading": "setup point shot round value reference_value replaces settles reason id",
    "submit": "survey",
    "finding": "siting visit point connection strap drain_run item grade text figures",
    "strap": "strap visit grade slack_in tension_lb method frequency_hz mode free_length_in text",
    "pass": "plan point pass_number done value unit",
    "time": "visit person started_at ended_at note",
    "hazard": "home kind text photo",
    "caution": "visit code moment reader_name language text_sha256",
    "head_count": "visit person_name is_in",
    "visit_report": "visit state reason",
    "handover": "visit are_straps_slack are_jacks_in is_blocked text",
    "takeover": "handover",
    "closing": "approval as_left are_wedges_tapped doors_windows gas gas_checked_by exceptions",
}


@pytest.fixture
def siting(crew: User) -> Siting:
    siting = SitingFactory()
    outdoors(crew, siting)
    return siting


@pytest.mark.parametrize("kind", FIELDS)
def test_each_reason_is_said_in_spanish(kind: str, siting: Siting, crew: User, api_for: Any) -> None:
    phone = Phone(api_for(crew))
    survey = SurveyFactory(siting=siting, author=crew)
    setup = SetupFactory(survey=survey)
    right = {
        "survey": {"siting": str(siting.pk), "stage": "as_found", "method": "water_level"},
        "setup": {"survey": str(survey.pk), "code": "S7", "sense": "up"},
        "reading": {"setup": str(setup.pk), "point": str(PointFactory(siting=siting).pk), "value": "3 5/8"},
        "finding": {"siting": str(siting.pk), "grade": "ok"},
    }.get(kind, {})
    entries = [phone.entry(kind, dict.fromkeys(FIELDS[kind].split(), odd)) for odd in ODD]
    if kind == "finding":
        point = {"point": str(PointFactory(siting=siting).pk)}
        entries += [
            phone.entry(kind, {**right, **point, "figures": {name: "much"}}) for name in ("gap_in", "footing")
        ]
        entries += [phone.entry(kind, {**right, **point, "figures": {name: "1"}}) for name in ("gap_in", "colour")]
        entries += [phone.entry(kind, {**right, "item": "roof"}), phone.entry(kind, {**right, "figures": {"x": "1"}})]
    entries += [phone.entry(kind, {}), phone.entry(kind, right | {"nonsense": 1}), phone.entry(kind, [])]
    told = [one for one in phone.send(*entries) if one["state"] == "set_aside"]
    said = {sentence for one in told for sentence in (one["message"], *one["fields"].values())}
    assert len(told) > len(ODD)
    kept = {sentence for reason in SyncEntry.objects.values_list("reason", flat=True) for sentence in _said(reason)}
    assert said == kept
    with translation.override("es"):
        assert [sentence for sentence in sorted(said) if retold(sentence) == sentence] == []


def _said(reason: Any) -> list[str]:
    return [reason["message"], *reason["fields"].values()] if reason else []
