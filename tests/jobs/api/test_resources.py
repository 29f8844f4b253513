"""Every resource of the API: signed out, each role, and lists whose queries don't grow with their rows."""

import datetime
import re
import uuid
from collections.abc import Callable, Mapping
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import get_resolver
from django.utils import timezone
from rest_framework.test import APIClient

from calcs.models import Answer, Calculation, Closing, PassEntry, Plan
from jobs.models import (
    Company,
    DeviceToken,
    Finding,
    Home,
    Invitation,
    MailKind,
    MailText,
    Photo,
    Role,
    RuleSet,
    SignedLink,
    StrapCheck,
    User,
    WorkTime,
)
from jobs.models.people import LANGUAGES
from surveys.models import Reading, Setup, SyncEntry
from tests.calcs.approved import approved
from tests.calcs.routes.town import make_route_plan
from tests.calcs.working import make_trial
from tests.factories import (
    NOON,
    AssessmentFactory,
    BenchmarkFactory,
    BlockOverrideFactory,
    CautionReadFactory,
    CompanyFactory,
    ConnectionFactory,
    CustomerFactory,
    DrainNodeFactory,
    DrainRunFactory,
    DueFactory,
    HandoverFactory,
    HazardFactory,
    HeadCountFactory,
    HomeContactFactory,
    HomeFactory,
    JobFactory,
    MailFactory,
    MailTextFactory,
    NeighbourPairFactory,
    PaperFactory,
    PhotoUploadFactory,
    PointFactory,
    RuleSetFactory,
    SetupFactory,
    SitingFactory,
    StrapFactory,
    SupportFactory,
    SurveyFactory,
    TimeOffFactory,
    TruckFactory,
    UserFactory,
    VisitFactory,
    VisitReportFactory,
    make_reading,
)

pytestmark = pytest.mark.django_db

SignIn = Callable[[User], APIClient]


def make_token() -> None:
    DeviceToken.objects.issue(
        user=User.objects.get(username="manager"), name="x", lifetime=datetime.timedelta(days=1)
    )


def make_visit() -> None:
    VisitFactory().crew.set([UserFactory(), UserFactory()])


def make_call_back() -> None:
    earlier = JobFactory(state="done", done_on="2026-02-01", warranty_months=12)
    JobFactory(home=earlier.home, call_back_of=earlier)


def read_a_point() -> Reading:
    setup = SetupFactory()
    return make_reading(setup=setup, point=PointFactory(siting=setup.survey.siting))


def make_calculation(**fields: Any) -> Calculation:
    usual = {"kind": "levels", "input": {}, "input_sha256": "0" * 64, "engine_version": "1"}
    return Calculation.objects.create(survey=SurveyFactory(), **usual | fields)


def make_answer() -> None:
    calculation = make_calculation()
    Answer.objects.create(survey=calculation.survey, kind="levels", calculation=calculation, revision=1)


def make_plan() -> Plan:
    calculation = make_calculation(
        kind="lift",
        state="done",
        finished_at=NOON,
        result={"options": [{"name": "least_work", "status": "optimal", "minutes": 0.0, "touched": 0}]},
    )
    return Plan.objects.create(survey=calculation.survey, lift=calculation, option="least_work")


def noted() -> dict[str, Any]:
    """What every row from a phone has."""
    return {"author": UserFactory(), "noted_at": NOON}


def make_pass_entry() -> None:
    plan = make_plan()
    PassEntry.objects.create(plan=plan, point=PointFactory(siting=plan.survey.siting), pass_number=1, **noted())


def make_work_time() -> None:
    hour = datetime.timedelta(hours=1)
    WorkTime.objects.create(
        visit=VisitFactory(), person=UserFactory(), started_at=NOON, ended_at=NOON + hour, **noted()
    )


def make_invitation() -> None:
    later = timezone.now() + datetime.timedelta(days=1)
    usual = {"email": "new@example.com", "roles": ["crew"], "expires_at": later}
    Invitation.objects.create(digest=uuid.uuid4().hex, invited_by=UserFactory(), **usual)


def make_sync_entry() -> None:
    usual = {"entry": uuid.uuid4(), "kind": "reading", "body": {}, "device": "phone", "sequence": 1}
    person = UserFactory()
    SyncEntry.objects.create(
        **usual, digest=b"", author=person, sent_by=person, state="set_aside", reason={"code": "invalid"}
    )


def make_photo() -> None:
    sizes = {"size_bytes": 9, "width_px": 4, "height_px": 3}
    Photo.objects.create(siting=SitingFactory(), file="photos/1.jpg", media_type="image/jpeg", **sizes, **noted())


def make_link() -> None:
    lifetime = datetime.timedelta(days=1)
    SignedLink.objects.issue(
        home=HomeFactory(), audience="engineer", holder="an engineer", by=UserFactory(), lifetime=lifetime
    )


def make_mail_text() -> MailText:
    """Make words for the next kind and language that has none: there are eight."""
    free = [
        {"kind": kind, "language": language}
        for kind in MailKind.values
        for language, _words in LANGUAGES
        if not MailText.objects.filter(kind=kind, language=language).exists()
    ]
    made: MailText = MailTextFactory(**free[0], body="We write about {home}, {day}, {from}")
    return made


# Every list endpoint, with what makes one more row of it. A new endpoint that is not here fails the test below.
LISTS: dict[str, Callable[[], object]] = {
    "answers": make_answer,
    "approvals": lambda: approved(make_plan()),
    "assessments": AssessmentFactory,
    "benchmarks": BenchmarkFactory,
    "block-overrides": BlockOverrideFactory,
    "calculations": make_calculation,
    "caution-reads": CautionReadFactory,
    "closings": lambda: Closing.objects.create(approval=approved(make_plan())),
    "connections": ConnectionFactory,
    "customers": CustomerFactory,
    "device-tokens": make_token,
    "drain-nodes": DrainNodeFactory,
    "due": DueFactory,
    "route-plans": make_route_plan,
    "drain-runs": DrainRunFactory,
    "findings": lambda: Finding.objects.create(siting=SitingFactory(), grade="ok", **noted()),
    "hazards": HazardFactory,
    "head-counts": HeadCountFactory,
    "home-contacts": HomeContactFactory,
    "homes": lambda: HomeFactory(rule_set=RuleSetFactory()),
    "invitations": make_invitation,
    "jobs": make_call_back,
    "mail-texts": make_mail_text,
    "mails": lambda: MailFactory(made_by=UserFactory(), visit=VisitFactory()),
    "neighbour-pairs": NeighbourPairFactory,
    "papers": PaperFactory,
    "pass-entries": make_pass_entry,
    "photo-uploads": PhotoUploadFactory,
    "photos": make_photo,
    "plans": make_plan,
    "points": PointFactory,
    "readings": read_a_point,
    "rule-sets": RuleSetFactory,
    "setups": SetupFactory,
    "signed-links": make_link,
    "sitings": SitingFactory,
    "strap-checks": lambda: StrapCheck.objects.create(strap=StrapFactory(), grade="ok", **noted()),
    "straps": StrapFactory,
    "supports": SupportFactory,
    "surveys": lambda: SurveyFactory(author=UserFactory()),
    "sync": make_sync_entry,
    "time-off": lambda: TimeOffFactory(person=UserFactory()),
    "trials": lambda: make_trial(make_calculation(kind="lift"), by=UserFactory()),
    "trucks": TruckFactory,
    "users": UserFactory,
    "handovers": HandoverFactory,
    "visit-reports": VisitReportFactory,
    "visits": make_visit,
    "work-times": make_work_time,
}


def addresses() -> list[str]:
    """Every address under /api/v1/, with its variables as they are written."""

    def walk(patterns: Any, prefix: str) -> list[str]:
        found = []
        for one in patterns:
            path = prefix + re.sub(r"^\^|\$$|\\Z$", "", str(one.pattern))
            found += walk(one.url_patterns, path) if hasattr(one, "url_patterns") else [path]
        return found

    return sorted(path for path in walk(get_resolver().url_patterns, "") if path.startswith("api/v1/"))


def test_every_list_is_covered() -> None:
    lists = {match[1] for path in addresses() if (match := re.fullmatch(r"api/v1/([\w-]+)/", path))}
    single = {"company", "rule-book", "enquiry-questions", "day", "operations", "all-homes"}
    single |= {"changes"}  # of one thing
    assert lists == LISTS.keys() | single


@pytest.mark.parametrize("name", sorted(LISTS))
def test_a_list_takes_as_many_queries_for_three_rows_as_for_one(name: str, manager: User, api_for: SignIn) -> None:
    client = api_for(manager)
    counts, rows = [], []
    for more in (1, 2):
        for _ in range(more):
            LISTS[name]()
        with CaptureQueriesContext(connection) as queries:
            response = client.get(f"/api/v1/{name}/")
        assert response.status_code == 200
        rows.append(len(response.json()["results"]))
        counts.append(len(queries))
    assert rows[1] >= rows[0] + 2
    assert counts[0] == counts[1]
    # session, person, rows, and one more for each set of others that rows hold; the due list has the company's clock
    assert counts[0] <= (6 if name == "due" else 5)


def test_nothing_is_served_to_people_who_are_not_signed_in() -> None:
    # An address that takes only POST answers 401 before it looks at the method, and so does an unknown row.
    key = "01999999-0000-7000-8000-000000000000"
    for path in addresses():
        address = "/" + re.sub(r"\(\?P<\w+>[^)]*\)|<[^>]*>", key, path).replace("\\.", ".")
        for method in ("get", "post", "patch", "delete"):
            response = getattr(APIClient(), method)(address, {})
            signing_in = address == "/api/v1/device-tokens/" and method == "post"
            assert response.status_code == (400 if signing_in else 401), (method, address)
            assert set(response.json()) == {"code", "message", "fields"}, (method, address)


BINDING = {
    "users": {"username": "newcomer"},
    "rule-sets": {"name": "ours", "values": {"tolerance_in": 0.2}, "source": "meeting of the crew leads"},
}


@pytest.mark.parametrize("role", list(Role.values))
@pytest.mark.parametrize("name", sorted(BINDING))
def test_only_a_manager_adds_what_binds_everybody(role: str, name: str, api_for: SignIn) -> None:
    response = api_for(UserFactory(roles=[role])).post(f"/api/v1/{name}/", BINDING[name])
    assert response.status_code == (201 if role == "manager" else 403)
    if role != "manager":
        assert response.json() == {
            "code": "permission_denied",
            "message": "This needs one of the roles: manager.",
            "fields": {},
        }


@pytest.mark.parametrize("role", list(Role.values))
def test_only_a_manager_changes_the_company(role: str, api_for: SignIn) -> None:
    CompanyFactory()
    client = api_for(UserFactory(roles=[role]))
    assert client.get("/api/v1/company/").json()["name"] == "Plumb and True"
    response = client.patch("/api/v1/company/", {"name": "Level Ground"})
    assert response.status_code == (200 if role == "manager" else 403)
    assert Company.objects.get().name == ("Level Ground" if role == "manager" else "Plumb and True")


@pytest.mark.parametrize("role", list(Role.values))
def test_the_office_enters_homes(role: str, api_for: SignIn) -> None:
    client = api_for(UserFactory(roles=[role]))
    home = {"code": "H1", "kind": "manufactured", "sections": 2, "width_ft": "28", "length_ft": "60"}
    added = client.post("/api/v1/homes/", home)
    if role in (Role.CREW_LEAD, Role.CREW):
        assert (added.status_code, Home.objects.count()) == (403, 0)
        return
    assert added.status_code == 201
    place = {"home": added.json()["id"], "address": "3 Cedar Row", "from_on": "2020-05-01"}
    assert client.post("/api/v1/sitings/", place).status_code == 201
    assert client.patch(f"/api/v1/homes/{added.json()['id']}/", {"name": "the blue one"}).json()["name"]


def test_a_manager_cannot_take_over_an_administrator(manager: User, api_for: SignIn) -> None:
    boss = UserFactory(is_superuser=True)
    response = api_for(manager).patch(f"/api/v1/users/{boss.pk}/", {"password": "long enough, but no"})
    assert response.status_code == 403


def test_people_are_made_with_hashed_passwords_and_are_shown_without(manager: User, api_for: SignIn) -> None:
    client = api_for(manager)
    person = {"username": "ada", "roles": ["crew", "crew_lead", "crew"], "password": "slack the strap first"}
    answer = client.post("/api/v1/users/", person).json()
    assert answer["roles"] == ["crew", "crew_lead"]
    assert "password" not in answer
    user = User.objects.get(username="ada")
    assert user.check_password("slack the strap first")
    client.patch(f"/api/v1/users/{user.pk}/", {"password": "another long sentence"})
    user.refresh_from_db()
    assert user.check_password("another long sentence")
    weak = client.post("/api/v1/users/", {"username": "bo", "password": "12345"})
    assert list(weak.json()["fields"]) == ["password"]
    assert client.get("/api/v1/users/me/").json()["username"] == "manager"


# -- deleting ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["customers", "homes", "points", "connections", "straps", "drain-runs"])
def test_deleting_archives(name: str, manager: User, api_for: SignIn) -> None:
    client = api_for(manager)
    LISTS[name]()
    row = client.get(f"/api/v1/{name}/").json()["results"][0]
    if name == "points":
        assert row["archived_at"] is None
    assert client.delete(f"/api/v1/{name}/{row['id']}/").status_code == 204
    assert client.get(f"/api/v1/{name}/{row['id']}/").json()["archived_at"]
    ids = [one["id"] for one in client.get(f"/api/v1/{name}/?archived=false").json()["results"]]
    assert row["id"] not in ids


KEPT = [
    "closings",
    "users",
    "home-contacts",
    "sitings",
    "supports",
    "benchmarks",
    "visits",
    "rule-sets",
    "surveys",
    "readings",
]


@pytest.mark.parametrize("name", KEPT)
def test_what_is_part_of_a_history_is_not_deleted(name: str, manager: User, api_for: SignIn) -> None:
    client = api_for(manager)
    LISTS[name]()
    row = client.get(f"/api/v1/{name}/").json()["results"][0]
    response = client.delete(f"/api/v1/{name}/{row['id']}/")
    assert (response.status_code, response.json()["code"]) == (405, "method_not_allowed")


def test_a_setup_is_deleted_only_before_anybody_reads_from_it(lead: User, api_for: SignIn) -> None:
    client = api_for(lead)
    mistaken, used = SetupFactory(), read_a_point().setup
    assert client.delete(f"/api/v1/setups/{mistaken.pk}/").status_code == 204
    response = client.delete(f"/api/v1/setups/{used.pk}/")
    assert (response.status_code, response.json()["code"]) == (409, "in_use")
    assert list(Setup.objects.all()) == [used]


# -- rules, pages of a list, faults --------------------------------------------------------------------------


def test_a_rule_set_gets_versions_and_never_changes(manager: User, api_for: SignIn) -> None:
    client = api_for(manager)
    first = client.post("/api/v1/rule-sets/", BINDING["rule-sets"]).json()
    second = client.post("/api/v1/rule-sets/", BINDING["rule-sets"] | {"values": {"touch_min": 12}}).json()
    assert (first["version"], second["version"]) == (1, 2)
    assert client.patch(f"/api/v1/rule-sets/{first['id']}/", {"values": {}}).status_code == 405
    rules = {rule["key"]: rule for rule in client.get(f"/api/v1/rule-sets/{first['id']}/").json()["rules"]}
    assert rules["tolerance_in"]["value"] == 0.2
    assert rules["tolerance_in"]["default"] == 0.25  # 24 CFR 3285.6 as the rule book's source says
    assert rules["tolerance_in"]["source"] == "ours, version 1: meeting of the crew leads"
    book = {rule["key"]: rule for rule in client.get("/api/v1/rule-book/").json()}
    assert book.keys() == rules.keys()
    assert not any(rule["is_changed"] for rule in book.values())
    assert book["tolerance_in"]["source"] == "24 CFR 3285.6, as a benchmark"
    wrong = client.post("/api/v1/rule-sets/", BINDING["rule-sets"] | {"values": {"tolerance_in": 9, "luck": 1}})
    assert "outside 0 to 2 in" in wrong.json()["fields"]["values"]
    assert "luck: there is no such rule" in wrong.json()["fields"]["values"]
    assert RuleSet.objects.count() == 2


def test_lists_are_newest_first_and_go_on_by_cursor(lead: User, api_for: SignIn) -> None:
    client = api_for(lead)
    made = [str(CustomerFactory().pk) for _ in range(5)]
    seen: list[str] = []
    address = "/api/v1/customers/?page_size=2"
    while address:
        page = client.get(address).json()
        assert set(page) == {"next", "previous", "results"}
        seen += [row["id"] for row in page["results"]]
        address = page["next"]
    assert seen == made[::-1]


@pytest.mark.parametrize(
    ("name", "wrong", "field"),
    [
        ("homes", {"code": ""}, "code"),
        ("homes", {"sections": 9}, "sections"),
        ("homes", {"width_ft": "0"}, "width_ft"),
        ("homes", {"width_ft": "wide"}, "width_ft"),
        ("homes", {"kind": "castle"}, "kind"),
        ("homes", {"wind_zone": 4}, "wind_zone"),
        ("sitings", {"to_on": "2019-01-01"}, "to_on"),
        ("sitings", {"north_deg": "360"}, "north_deg"),
        ("sitings", {"home": "01999999-0000-7000-8000-000000000000"}, "home"),
        ("connections", {"measured": "tape"}, "measured"),
        ("connections", {"free_min": "-1"}, "free_up_in"),
        ("straps", {"slack_in": "1", "tension_lb": "50"}, "slack_in"),
        ("straps", {"run_in": "0", "rise_in": "0"}, "run_in"),
        ("straps", {"rated_lb": "0"}, "width_in"),
        ("homes", {"beam_i_in4": "0"}, "beam_i_in4"),
        ("homes", {"beam_section_modulus_in3": "-1"}, "beam_i_in4"),
        ("homes", {"beam_load_lb_per_ft": "0"}, "beam_i_in4"),
        ("drain-runs", {"code": ""}, "code"),
        ("drain-runs", {"diameter_in": "0.4"}, "diameter_in"),
        ("drain-runs", {"diameter_in": "24.5"}, "diameter_in"),
        ("drain-runs", {"rehang_min": "-1"}, "rehang_min"),
        ("drain-nodes", {"at_ft": "1000.5"}, "at_ft"),
        ("drain-nodes", {"invert_in": "-1201"}, "at_ft"),
        ("drain-nodes", {"x_ft": "33"}, "x_ft"),  # the home is 24 ft long
        ("drain-nodes", {"y_ft": "-9"}, "y_ft"),
        ("drain-nodes", {"is_on_ground": True, "y_ft": "1000.5"}, "x_ft"),
        ("supports", {"footing_length_in": "16"}, "footing_length_in"),
        ("supports", {"footing_width_in": "16"}, "footing_length_in"),
        ("supports", {"footing_length_in": "16", "footing_width_in": "0"}, "footing_length_in"),
        ("supports", {"footing_length_in": "16", "footing_width_in": "1201"}, "footing_width_in"),
        ("supports", {"footing_thickness_in": "0"}, "footing_thickness_in"),
        ("supports", {"footing_thickness_in": "61"}, "footing_thickness_in"),
        ("supports", {"offset_in": "-1"}, "offset_in"),
        ("supports", {"offset_in": "49"}, "offset_in"),
        ("supports", {"clearance_in": "481"}, "offset_in"),
        ("supports", {"height_in": "0"}, "height_in"),
        ("supports", {"gap_in": "-1"}, "gap_in"),
        ("supports", {"stack": ["shims", "brick"]}, "stack"),
        ("supports", {"stack": [""]}, "stack[0]"),
        ("supports", {"installed_on": "2024-02-02", "removed_on": "2024-02-01"}, "removed_on"),
        ("visits", {"ends_at": "2020-01-01T00:00:00Z"}, "ends_at"),
        ("benchmarks", {"mark_class": "tree"}, "mark_class"),
        ("surveys", {"reading_sd_in": "0"}, "reading_sd_in"),
        ("setups", {"sense": "down", "sense_trial": "grew"}, "sense_trial"),
        ("setups", {"code": ""}, "code"),
    ],
)
def test_a_wrong_field_is_told_at_the_field(name: str, wrong: Mapping[str, Any], field: str, api_for: SignIn) -> None:
    client = api_for(UserFactory(roles=[Role.MANAGER, Role.CREW_LEAD]))
    LISTS[name]()
    row = client.get(f"/api/v1/{name}/").json()["results"][0]
    response = client.patch(f"/api/v1/{name}/{row['id']}/", wrong)
    assert response.status_code in (400, 409), response.content
    body = response.json()
    assert set(body) == {"code", "message", "fields"}
    assert list(body["fields"]) == [field]


def test_what_can_exist_once_is_told_when_it_does(manager: User, api_for: SignIn) -> None:
    client = api_for(manager)
    home = HomeFactory(code="H7")
    again = client.post("/api/v1/homes/", {"code": "H7", "kind": "manufactured", "width_ft": "14", "length_ft": "60"})
    assert list(again.json()["fields"]) == ["code"]
    SitingFactory(home=home)
    twice = client.post("/api/v1/sitings/", {"home": str(home.pk), "address": "9 Elm", "from_on": "2024-01-01"})
    assert twice.json()["fields"] == {"from_on": "The home stands elsewhere in these days: end that siting first."}
    assert Home.objects.count() == 1


def test_filters_that_make_no_sense_are_told(lead: User, api_for: SignIn) -> None:
    response = api_for(lead).get("/api/v1/points/?siting=nowhere")
    assert (response.status_code, list(response.json()["fields"])) == (400, ["siting"])


def test_a_filter_that_a_list_does_not_have_is_refused_by_name(lead: User, api_for: SignIn) -> None:
    home = HomeFactory()
    client = api_for(lead)
    response = client.get(f"/api/v1/sitings/?hom={home.pk}")
    assert response.status_code == 400
    assert response.json()["fields"] == {"hom": "There is no such filter here. There are: cursor, home, page_size."}
    assert client.get(f"/api/v1/sitings/?home={home.pk}&page_size=5").status_code == 200
