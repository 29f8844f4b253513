"""The admin's lists: as many queries for three rows as for one, and nothing deleted."""

from typing import Any

import pytest
from django.contrib import admin
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.models import Support
from surveys.models import Reading, Setup
from surveys.services import submit_survey
from tests.factories import CompanyFactory, SupportFactory, UserFactory
from tests.jobs.api.test_resources import LISTS, read_a_point

pytestmark = pytest.mark.django_db

MAKERS = {
    "jobs.homecontact": "home-contacts",
    "jobs.devicetoken": "device-tokens",
    "jobs.neighbourpair": "neighbour-pairs",
    "jobs.ruleset": "rule-sets",
}
OWN = [model for model in admin.site._registry if model._meta.app_label in ("jobs", "surveys")]


@pytest.fixture
def client() -> Client:
    client = Client()
    client.force_login(UserFactory(username="manager", is_staff=True, is_superuser=True))
    return client


def make(model: Any) -> None:
    if model._meta.label_lower == "jobs.company":
        if not model.objects.exists():
            CompanyFactory()
        return
    LISTS[MAKERS.get(model._meta.label_lower, f"{model._meta.model_name}s")]()


@pytest.mark.parametrize("model", OWN, ids=lambda model: model._meta.label)
def test_a_list_takes_as_many_queries_for_three_rows_as_for_one(model: Any, client: Client) -> None:
    address = reverse(f"admin:{model._meta.app_label}_{model._meta.model_name}_changelist")
    counts = []
    for more in (1, 2):
        for _ in range(more):
            make(model)
        with CaptureQueriesContext(connection) as queries:
            response = client.get(address)
        assert response.status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]
    searched = client.get(f"{address}?q=x")
    assert searched.status_code == 200


@pytest.mark.parametrize("model", OWN, ids=lambda model: model._meta.label)
def test_a_row_opens(model: Any, client: Client) -> None:
    make(model)
    row = model.objects.first()
    address = reverse(f"admin:{model._meta.app_label}_{model._meta.model_name}_change", args=[row.pk])
    assert client.get(address).status_code == 200
    delete = reverse(f"admin:{model._meta.app_label}_{model._meta.model_name}_delete", args=[row.pk])
    assert client.get(delete).status_code == (200 if model._meta.model_name == "neighbourpair" else 403)


@pytest.mark.parametrize(
    ("typed", "kept"), [("shims,plate_2x,cap,block", ["shims", "plate_2x", "cap", "block"]), ("", None)]
)
def test_a_support_is_saved_with_its_courses(client: Client, typed: str, kept: list[str] | None) -> None:
    response, support = save_support(client, typed)
    assert response.status_code == 302
    assert support.stack == kept


def test_a_support_with_an_unknown_course_is_not_saved(client: Client) -> None:
    response, support = save_support(client, "shims,<b>brick</b>,block")
    assert response.status_code == 200
    assert support.stack == ["block"]
    page = response.content.decode()
    assert "Course 2 from the top, “&lt;b&gt;brick&lt;/b&gt;”, is unknown; allowed: shims, block, cap" in page


def save_support(client: Client, stack: str) -> tuple[Any, Support]:
    """Type a stack into the form of a support that stands on one block."""
    support = SupportFactory(stack=["block"])
    address = reverse("admin:jobs_support_change", args=[support.pk])
    form = client.get(address).context["adminform"].form
    values = {name: form[name].value() for name in form.fields}
    typed = {name: "" if value is None else value for name, value in values.items() if value is not False}
    response = client.post(address, typed | {"stack": stack})
    support.refresh_from_db()
    return response, support


def test_readings_are_looked_at_only(client: Client) -> None:
    reading = read_a_point()
    assert client.get(reverse("admin:surveys_reading_add")).status_code == 403
    address = reverse("admin:surveys_reading_change", args=[reading.pk])
    assert client.post(address, {"typed": "9"}).status_code == 403
    assert Reading.objects.get().typed == reading.typed


def test_a_setup_corrected_in_the_admin_raises_the_revision(client: Client) -> None:
    setup = read_a_point().setup
    submit_survey(survey=setup.survey)
    fields = {
        "survey": str(setup.survey_id),
        "code": setup.code,
        "sense": "down",
        "sense_trial": "shrank",
        "version": 1,
    }
    response = client.post(reverse("admin:surveys_setup_change", args=[setup.pk]), fields)
    assert response.status_code == 302
    assert Setup.objects.get(pk=setup.pk).sense == "down"
    setup.survey.refresh_from_db()
    assert setup.survey.revision == 2
