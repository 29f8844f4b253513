"""Trials on the page on which a plan is chosen: asked in a form, computed, shown beside the plans."""

from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from calcs import runner
from calcs.models import Calculation, Plan, Trial
from jobs.models import Connection, Home, Support, User
from surveys.models import Survey
from tests.calcs.test_choosing_page import ClientFor, address, plain, shown, survey
from tests.calcs.test_views import shown as survey_shown
from tests.calcs.working import label_to_key, standing, submit, work_off

pytestmark = pytest.mark.django_db

__all__ = ["survey"]


def test_it_asks_as_often_for_one_trial_as_for_three(client_for: ClientFor, lead: User, survey: Survey) -> None:
    client = client_for(lead)

    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            client.get(address(survey))
        return len(captured)

    client.post(address(survey), {"tolerance_in": "3/8"})
    one = queries()
    for tolerance in ("1/2", "5/8"):
        client.post(address(survey), {"tolerance_in": tolerance})
    assert Trial.objects.count() == 3
    assert queries() == one


def test_a_trial_is_asked_computed_and_shown_beside_the_plans(
    client_for: ClientFor, lead: User, survey: Survey
) -> None:
    client = client_for(lead)
    before = client.get(reverse("survey-plans-progress", args=[survey.pk])).json()
    plans = Plan.objects.count()
    response = client.post(address(survey), {"free_0": "on"})
    assert response["Location"] == address(survey) + "#tried"
    now = client.get(reverse("survey-plans-progress", args=[survey.pk])).json()
    assert (before["state"], now["state"]) == ("done", "working")
    assert "what was tried" in now["words"]
    assert now["stamp"] != before["stamp"]
    trial = Trial.objects.get()
    page, text = shown(client, survey)
    assert page.trials[0].is_waiting
    work_off([trial.calculation_id])
    page, text = shown(client, survey)
    assert client.get(reverse("survey-plans-progress", args=[survey.pk])).json()["state"] == "done"
    assert page.trials[0].changes == ("drain DR1 is free, at no cost",)
    assert "Not to be built." in text
    assert Plan.objects.count() == plans
    trial.calculation.refresh_from_db()
    tried = {option["name"]: option["minutes"] for option in trial.calculation.result["options"]}
    recorded = {option["name"]: option["minutes"] for option in standing(survey, "lift").result["options"]}
    least = next(row for row in page.trials[0].rows if row.option == "least work")
    saved = round(recorded["least_work"] - tried["least_work"])
    assert saved > 0
    assert least.differs == f"saves {saved} min"
    assert least.tried.startswith(_minutes(tried["least_work"]))


def _minutes(minutes: float) -> str:
    hours, rest = divmod(round(minutes), 60)
    return f"{hours} h {rest} min" if hours else f"{rest} min"


def test_every_change_reaches_the_trial_in_the_readers_unit(
    client_for: ClientFor, lead: User, survey: Survey
) -> None:
    User.objects.filter(pk=lead.pk).update(length_unit="mm")
    a1 = label_to_key(survey)["A1"]
    sent = {
        **{"up_0": "12.7", "down_0": "25.4", "support_0": a1, "raise_0": "6.35", "lower_0": "0"},
        **{"max_raise_in": "50.8", "tolerance_in": "9.525", "target_in": "3.175", "rehang_drains": "on"},
    }
    assert client_for(lead).post(address(survey), sent).status_code == 302
    key = str(Connection.objects.get(code="DR1").pk)
    assert Trial.objects.get().changes == {
        "connections": [{"connection": key, "is_free": False, "free_up_in": 0.5, "free_down_in": 1.0}],
        "supports": [{"point": a1, "max_raise_in": 0.25, "max_lower_in": 0.0}],
        "max_raise_in": 2.0,
        "tolerance_in": 0.375,
        "target_in": 0.125,
        "rehang_drains": True,
    }
    page, _text = shown(client_for(lead), survey)
    assert page.trials[0].changes == (
        "drain DR1 lets the home rise 12.7\u00a0mm, drain DR1 lets the home come down 25.4\u00a0mm",
        "A1 may go up 6.4\u00a0mm, A1 may come down 0\u00a0mm",
        "every support may go up 50.8\u00a0mm",
        "neighbours may end 9.5\u00a0mm apart",
        "pairs with a moved support aim for 3.2\u00a0mm",
        "drains are hung anew, at no cost",
    )


@pytest.mark.parametrize(
    ("sent", "field"),
    [
        ({}, "__all__"),
        ({"tolerance_in": "3 in"}, "tolerance_in"),
        ({"target_in": "-1/8"}, "target_in"),
        ({"max_raise_in": "lots"}, "max_raise_in"),
        ({"free_0": "on", "up_0": "1"}, "free_0"),
        ({"up_0": "13"}, "up_0"),
        ({"down_0": "13"}, "down_0"),
        ({"raise_0": "1"}, "support_0"),
        ({"support_0": "A1"}, "raise_0"),
        ({"support_1": "A1", "lower_1": "13"}, "lower_1"),
        ({"support_0": "01999999-0000-7000-8000-000000000000", "raise_0": "1"}, "support_0"),
    ],
)
def test_what_can_not_be_tried_is_told_at_its_field(
    client_for: ClientFor, lead: User, survey: Survey, sent: dict[str, str], field: str
) -> None:
    keys = label_to_key(survey)
    response = client_for(lead).post(address(survey), {name: keys.get(value, value) for name, value in sent.items()})
    assert response.status_code == 400
    assert list(response.context["form"].errors) == [field]
    assert response.context["page"].columns
    assert not Trial.objects.exists()


def test_a_trial_of_earlier_readings_is_stale(client_for: ClientFor, lead: User, survey: Survey) -> None:
    client = client_for(lead)
    client.post(address(survey), {"tolerance_in": "3/8"})
    assert shown(client, survey)[0].trials[0].stale == ""
    submit(survey)
    page, text = shown(client, survey)
    assert page.trials[0].stale == "Stale: readings have come in since this was tried."
    assert page.trials[0].stale in text


@pytest.mark.parametrize("change", ["limit", "gone"])
def test_a_trial_of_another_record_is_stale(client_for: ClientFor, lead: User, survey: Survey, change: str) -> None:
    client = client_for(lead)
    client.post(address(survey), {"free_0": "on"})
    if change == "limit":
        Support.objects.filter(point__siting=survey.siting, point__label="D3").update(max_raise_in=Decimal("0.5"))
    else:
        Connection.objects.filter(code="DR1").archive()
    page, _text = shown(client, survey)
    assert page.trials[0].stale.startswith("Stale: the layout, the home's record or the rules have changed")
    assert page.trials[0].changes == ("drain DR1 is free, at no cost",)


def test_a_failed_trial_is_told(
    client_for: ClientFor, lead: User, survey: Survey, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = client_for(lead)
    client.post(address(survey), {"tolerance_in": "3/8"})

    def trip(_calculation: Calculation) -> Any:
        raise RuntimeError("made to fail")

    with monkeypatch.context() as patched:
        patched.setattr(runner, "_solve", trip)
        with pytest.raises(RuntimeError):
            runner.run(Trial.objects.get().calculation_id)
    page, text = shown(client, survey)
    assert page.progress.state == "failed"
    assert "what was tried" in page.progress.words
    assert "Not computed: what was tried." in text
    survey_page, _text = survey_shown(client, survey)
    assert survey_page.progress.state == "done"  # nothing is wrong with the survey


def test_nothing_is_tried_of_an_archived_home(client_for: ClientFor, lead: User, survey: Survey) -> None:
    Home.objects.filter(pk=survey.siting.home_id).archive()
    response = client_for(lead).post(address(survey), {"tolerance_in": "3/8"})
    assert response.status_code == 409
    assert "This home is archived" in plain(response)
    assert not Trial.objects.exists()


# -- the form ---------------------------------------------------------------------------------------------------


def test_the_form_groups_what_belongs_together(client_for: ClientFor, lead: User, survey: Survey) -> None:
    form = client_for(lead).get(address(survey)).context["form"]
    assert [(legend, [field.name for field in fields]) for legend, fields in form.groups] == [
        ("drain DR1", ["free_0", "up_0", "down_0"]),
        ("Limits of a support", ["support_0", "raise_0", "lower_0"]),
        ("Limits of another support", ["support_1", "raise_1", "lower_1"]),
        ("The whole home", ["max_raise_in", "tolerance_in", "target_in", "rehang_drains"]),
    ]
    assert {field.name for _legend, fields in form.groups for field in fields} == set(form.fields)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"free_up_in": "0.375", "free_down_in": "1"}, ["recorded: 3/8 in", "recorded: 1 in"]),
        (
            {"free_up_in": None, "free_down_in": None, "measured": "not_measured"},
            ["not measured: counts as none"] * 2,
        ),
    ],
)
def test_the_form_says_what_is_recorded(
    client_for: ClientFor, lead: User, survey: Survey, fields: dict[str, Any], said: list[str]
) -> None:
    Connection.objects.filter(code="DR1").update(**fields)
    form = client_for(lead).get(address(survey)).context["form"]
    assert [str(form[name].help_text).replace("\u00a0", " ") for name in ("up_0", "down_0")] == said
