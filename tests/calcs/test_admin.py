"""The admin shows what was computed and lets nobody change it; a failed calculation can run again."""

import pytest
from django.test import Client
from django.urls import reverse

from calcs import chain
from calcs.models import Answer, Calculation, Plan
from jobs.models import User
from tests.calcs.working import read_survey, work_off

pytestmark = pytest.mark.django_db


@pytest.fixture
def signed_in(db: None) -> Client:
    client = Client()
    client.force_login(User.objects.create_superuser(username="chief"))
    return client


@pytest.mark.parametrize("model", [Calculation, Answer, Plan])
def test_lists_and_rows_are_shown_and_not_changed(signed_in: Client, model: type[Calculation]) -> None:
    work_off(chain.ask(read_survey().pk).new)
    name = f"admin:calcs_{model._meta.model_name}"
    row = model.objects.all()[0]
    assert signed_in.get(reverse(f"{name}_changelist")).status_code == 200
    assert signed_in.get(reverse(f"{name}_changelist"), {"q": str(row.pk)}).status_code == 200
    assert signed_in.get(reverse(f"{name}_change", args=[row.pk])).status_code == 200
    assert signed_in.get(reverse(f"{name}_add")).status_code == 403
    assert signed_in.post(reverse(f"{name}_change", args=[row.pk]), {}).status_code == 403
    assert signed_in.post(reverse(f"{name}_delete", args=[row.pk]), {"post": "yes"}).status_code == 403


def test_failed_ones_run_again_and_others_stay(signed_in: Client) -> None:
    levels = chain.ask(read_survey().pk).root
    Calculation.objects.filter(pk=levels.pk).update(
        state="failed", error={"code": "fault", "message": "-", "field": ""}
    )
    keys = [str(key) for key in Calculation.objects.values_list("pk", flat=True)]
    answer = signed_in.post(
        reverse("admin:calcs_calculation_changelist"),
        {"action": "run_failed_again", "_selected_action": keys},
        follow=True,
    )
    assert "1 of 2 had failed and will run again." in answer.content.decode()
    assert sorted(Calculation.objects.values_list("kind", "state")) == [
        ("levels", "failed"),
        ("levels", "queued"),
        ("straps", "queued"),
    ]
