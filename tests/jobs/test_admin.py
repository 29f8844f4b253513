"""What the admin does beyond lists and forms: services save, archive, revoke and retire; readings stay."""

import datetime
from html import unescape
from typing import Any

import pytest
from django.db.models import Q
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from jobs.accounts import invite
from jobs.layout import LayoutSpec
from jobs.models import DeviceToken, SignedLink, Support
from jobs.services import lay_out
from surveys.models import Reading, Setup
from surveys.services import submit_survey
from tests.factories import (
    BenchmarkFactory,
    DrainRunFactory,
    HomeFactory,
    SitingFactory,
    StrapFactory,
    SupportFactory,
    UserFactory,
    lay_out_home,
)
from tests.jobs.api.test_resources import read_a_point

pytestmark = pytest.mark.django_db


@pytest.fixture
def client() -> Client:
    client = Client()
    client.force_login(UserFactory(username="manager", is_staff=True, is_superuser=True))
    return client


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


def filled(form: Any) -> dict[str, Any]:
    """What a browser sends of a form that nobody changes."""
    values = {name: form[name].value() for name in form.fields}
    return {name: value for name, value in values.items() if value is not None and value is not False}


def act(client: Client, model: str, action: str, *rows: Any) -> str:
    """Do an action for rows; return the page that comes after."""
    chosen = {"action": action, "_selected_action": [str(row.pk) for row in rows]}
    return client.post(reverse(f"admin:{model}_changelist"), chosen, follow=True).content.decode()


def test_points_are_archived_and_restored_with_what_hangs_on_them(client: Client) -> None:
    siting = lay_out_home()
    a1, a2, a3 = (siting.points.get(label=label) for label in ("A1", "A2", "A3"))
    said = act(client, "jobs_point", "archive_rows", a1, a2)
    assert "A1: Strap T1 hangs at A1: move it to another point or archive it first." in unescape(said)
    assert "1 archived." in said
    assert not siting.neighbour_pairs.filter(Q(a=a2) | Q(b=a2)).exists()
    assert a2.supports.get().removed_on is not None
    assert "1 restored." in act(client, "jobs_point", "restore_rows", a1, a2, a3)
    assert siting.neighbour_pairs.filter(a=a2, b=a3).exists()


def test_a_point_moved_in_the_admin_takes_its_proposed_pairs_along(client: Client) -> None:
    siting = SitingFactory()
    lay_out(siting=siting, spec=LayoutSpec(width_ft=14, length_ft=24, sections=1))
    point = siting.points.get(label="A2")
    before = set(siting.neighbour_pairs.filter(direction="along").values_list("a__label", "b__label"))
    form = client.get(reverse("admin:jobs_point_change", args=[point.pk])).context["adminform"].form
    typed = filled(form)
    moved = client.post(reverse("admin:jobs_point_change", args=[point.pk]), typed | {"x_ft": "23.5"})
    assert moved.status_code == 302, moved.context["adminform"].form.errors
    after = set(siting.neighbour_pairs.filter(direction="along").values_list("a__label", "b__label"))
    assert before != after


def test_a_place_on_a_drain_is_entered_on_the_home_and_taken_away(client: Client) -> None:
    run = DrainRunFactory(siting__home__length_ft=24)
    add = reverse("admin:jobs_drainnode_add")
    typed = {"run": str(run.pk), "at_ft": "0", "invert_in": "18", "x_ft": "240", "y_ft": "7"}
    refused = client.post(add, typed)
    assert refused.context["adminform"].form.errors == {"x_ft": ["Give -8 to 32 ft: this home is 24 ft that way."]}
    assert client.post(add, typed | {"x_ft": "24"}).status_code == 302
    node = run.nodes.get()
    change = reverse("admin:jobs_drainnode_change", args=[node.pk])
    seen = filled(client.get(change).context["adminform"].form)
    refused = client.post(change, seen | {"y_ft": "-80"})
    assert list(refused.context["adminform"].form.errors) == ["y_ft"]
    moved = client.post(change, seen | {"y_ft": "-80", "is_on_ground": "on"})  # where it joins the street
    assert moved.status_code == 302, moved.context["adminform"].form.errors
    node.refresh_from_db()
    assert (node.y_ft, node.is_on_ground, node.version) == (-80, True, 2)
    client.post(reverse("admin:jobs_drainnode_delete", args=[node.pk]), {"post": "yes"})
    assert not run.nodes.exists()


def test_benchmarks_are_retired_once(client: Client) -> None:
    old, new = BenchmarkFactory(retired_on="2020-01-01"), BenchmarkFactory()
    assert "Done for 1 row." in act(client, "jobs_benchmark", "retire", old, new)
    old.refresh_from_db()
    new.refresh_from_db()
    assert (str(old.retired_on), new.retired_on) == ("2020-01-01", timezone.now().date())


def test_access_is_taken_back(client: Client) -> None:
    user, hour = UserFactory(), datetime.timedelta(hours=1)
    token, _secret = DeviceToken.objects.issue(user=user, name="phone", lifetime=hour)
    link, _secret = SignedLink.objects.issue(
        home=HomeFactory(), audience="engineer", holder="Ann Tolliver", by=user, lifetime=hour
    )
    invitation, _secret = invite(by=user, email="new@plumb.example", roles=["crew"])
    for row in (token, link, invitation):
        assert "Done for 1 row." in act(client, f"jobs_{row._meta.model_name}", "revoke", row)
        row.refresh_from_db()
        assert row.revoked_at is not None
        assert "Done for 0 rows." in act(client, f"jobs_{row._meta.model_name}", "revoke", row)


def test_what_the_database_refuses_is_told_and_not_saved(client: Client) -> None:
    strap, elsewhere = StrapFactory(), StrapFactory()
    address = reverse("admin:jobs_strap_change", args=[strap.pk])
    form = client.get(address).context["adminform"].form
    typed = filled(form)
    typed |= {"point": str(elsewhere.point_id), "code": "Z 99"}
    response = client.post(address, typed)
    told = response.context["adminform"].form
    assert told.errors == {"point": ["This point lies under another siting."]}
    assert told["code"].value() == "Z 99", "what was typed is lost"
    strap.refresh_from_db()
    assert strap.point_id != elsewhere.point_id


def test_a_manager_makes_nobody_an_administrator(client: Client) -> None:
    manager = UserFactory(is_staff=True, roles=["manager"])
    chief = UserFactory(is_superuser=True)
    client.force_login(manager)
    form = client.get(reverse("admin:jobs_user_change", args=[manager.pk])).context["adminform"].form
    assert "is_superuser" not in form.fields
    assert "is_staff" in form.fields
    assert client.post(reverse("admin:jobs_user_change", args=[chief.pk]), {"username": "x"}).status_code == 403


def test_a_point_stays_on_its_home_here_too(client: Client) -> None:
    siting = SitingFactory()
    lay_out(siting=siting, spec=LayoutSpec(sections=1, width_ft=14, length_ft=40, support_spacing_ft=8))
    point = siting.points.all()[0]
    address = reverse("admin:jobs_point_change", args=[point.pk])
    typed = filled(client.get(address).context["adminform"].form)
    told = client.post(address, typed | {"x_ft": "3700"}).context["adminform"].form
    assert list(told.errors) == ["x_ft"], told.errors
    assert told["x_ft"].value() == "3700"
    assert client.post(address, typed | {"x_ft": "3"}).status_code == 302
    point.refresh_from_db()
    assert point.x_ft == 3


def test_a_constraint_is_told_at_its_field_in_our_own_words(client: Client) -> None:
    home = HomeFactory()
    address = reverse("admin:jobs_home_change", args=[home.pk])
    typed = filled(client.get(address).context["adminform"].form)
    told = client.post(address, typed | {"width_ft": "-5", "name": "Brask"}).context["adminform"].form
    assert not [words for found in told.errors.values() for words in found if "is violated" in words]
    assert list(told.errors) == ["width_ft"], told.errors
    assert told["name"].value() == "Brask"
