"""One home with one of everything under it, the people who may or may not see it, and bodies that could be taken."""

import datetime
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone
from rest_framework.test import APIClient

from calcs import chain
from calcs.models import Answer, Closing, PassEntry, Plan
from jobs.accounts import invite, password_link
from jobs.calendar_feed import issue
from jobs.models import (
    Company,
    Connection,
    DeviceToken,
    Finding,
    Home,
    Photo,
    Role,
    SignedLink,
    Siting,
    StrapCheck,
    User,
    WorkTime,
)
from jobs.photos import take
from surveys.models import SyncEntry
from tests.calcs.approved import approved, withdrawn
from tests.calcs.routes.town import make_due, searched_plan
from tests.calcs.working import HEIGHTS_IN, make_trial, submit, work_off
from tests.factories import (
    NOON,
    AssessmentFactory,
    BlockOverrideFactory,
    CautionReadFactory,
    CompanyFactory,
    CustomerFactory,
    DrainNodeFactory,
    DueFactory,
    HandoverFactory,
    HazardFactory,
    HeadCountFactory,
    HomeContactFactory,
    HomeFactory,
    JobFactory,
    MailFactory,
    MailTextFactory,
    PaperFactory,
    PhotoUploadFactory,
    PointFactory,
    RuleSetFactory,
    SetupFactory,
    SitingFactory,
    SurveyFactory,
    TimeOffFactory,
    TruckFactory,
    UserFactory,
    VisitFactory,
    VisitReportFactory,
    lay_out_home,
    make_reading,
    read_home,
)
from tests.jobs.pictures import picture
from tests.rights_table import OUTSIDE, PEOPLE

HOUR = datetime.timedelta(hours=1)
NEXT_YEAR = datetime.datetime.now(datetime.UTC).replace(hour=14, minute=0) + datetime.timedelta(days=365)
# What must never reach somebody who may not see the home, in no answer at all; and not a crew, of the customer.
OF_THE_HOME = ("HX-77", "Quillfeather", "Marrowbone Lane", "Under the stairs")
OF_THE_CUSTOMER = ("Orla Vantongeren",)


@dataclass(slots=True, kw_only=True)
class World:
    """Everything that requests are made about, and by whom."""

    rows: dict[str, Any]
    people: dict[str, User]
    tokens: dict[str, str]
    secrets: dict[str, str]
    clients: dict[tuple[str, bool], Client] = field(default_factory=dict)  # making one takes as long as ten requests


def make_world() -> World:
    """Make it all; requests about it are undone one by one."""
    people = _people()
    rows = _under_the_home(people)
    rows |= _about_people(people, rows)
    tokens = {
        name: DeviceToken.objects.issue(user=person, name="phone", lifetime=HOUR)[1]
        for name, person in people.items()
    }
    revoked, tokens["revoked"] = DeviceToken.objects.issue(user=people["manager"], name="lost", lifetime=HOUR)
    DeviceToken.objects.filter(pk=revoked.pk).update(revoked_at=timezone.now())
    _invitation, secret = invite(by=people["manager"], email="new@example.com", roles=[Role.CREW])
    secrets = {"invitation": secret, "password": password_link(rows["people"])}
    _link, secrets["link"] = SignedLink.objects.issue(
        home=rows["homes"], audience="engineer", holder="an engineer", by=people["manager"], lifetime=HOUR
    )
    _feed, secrets["calendar"] = issue(people["other_crew"])
    return World(rows=rows, people=people, tokens=tokens, secrets=secrets)


def _people() -> dict[str, User]:
    roles = {
        "manager": [Role.MANAGER],
        "office": [Role.OFFICE],
        "lead": [Role.CREW_LEAD],
        "visit_lead": [Role.CREW_LEAD],
        "crew": [Role.CREW],
        "other_crew": [Role.CREW],
        "no_role": [],
        "inactive": [Role.MANAGER],
    }
    return {
        name: UserFactory(username=name, roles=each, is_active=name != "inactive") for name, each in roles.items()
    }


def _under_the_home(people: Mapping[str, User]) -> dict[str, Any]:
    home = HomeFactory(code="HX-77", name="Quillfeather", access_notes="Under the stairs")
    siting = lay_out_home(SitingFactory(home=home, address="4 Marrowbone Lane"))
    crew, point = people["crew"], siting.points.get(label="A1")
    noted = {"author": crew, "noted_at": NOON}
    visit = VisitFactory(siting=siting, lead=people["visit_lead"])
    visit.crew.add(crew)
    VisitFactory().crew.add(people["other_crew"])
    VisitFactory(siting=siting, state="cancelled").crew.add(people["other_crew"])
    survey = SurveyFactory(siting=siting, author=crew)
    reading = make_reading(setup=SetupFactory(survey=survey), point=point, author=crew)
    plan = _plan(siting, crew)
    before = withdrawn(approved(plan, by=people["visit_lead"]))
    photo = Photo(siting=siting, **noted)
    take(photo, photo_file())
    strap, node = siting.straps.get(code="T1"), DrainNodeFactory(run__siting=siting)
    time = {"started_at": NOON, "ended_at": NOON + HOUR}
    return {
        "answers": Answer.objects.get(survey=plan.survey, kind="lift"),
        "approvals": approved(plan, by=people["visit_lead"]),
        "benchmarks": siting.points.get(label="BM1").benchmark,
        "calculations": plan.lift,
        "caution-reads": CautionReadFactory(visit=visit, author=crew),
        "closings": Closing.objects.create(approval=before),
        "connections": Connection.objects.get(siting=siting),
        "drain-nodes": node,
        "drain-runs": node.run,
        "due": DueFactory(siting=siting, reason="Under the stairs it sinks"),
        "findings": Finding.objects.create(
            siting=siting, point=point, grade="ok", figures={"gap_in": "0.25"}, **noted
        ),
        "hazards": HazardFactory(home=home, author=crew, text="Under the stairs"),
        "head-counts": HeadCountFactory(visit=visit, author=crew, person_name="Under the stairs"),
        "homes": home,
        "home-contacts": HomeContactFactory(home=home, customer=CustomerFactory(name=OF_THE_CUSTOMER[0])),
        "neighbour-pairs": siting.neighbour_pairs.first(),
        "pass-entries": PassEntry.objects.create(plan=plan, point=point, pass_number=1, **noted),
        "photo-uploads": PhotoUploadFactory(siting=siting, author=crew, caption="Under the stairs"),
        "photos": photo,
        "plans": plan,
        "points": point,
        "readings": reading,
        "route-plans": searched_plan(siting, lead=people["visit_lead"], by=people["office"]),
        "setups": SetupFactory(survey=survey),  # one without readings, which may be taken away
        "sitings": siting,
        "strap-checks": StrapCheck.objects.create(strap=strap, grade="ok", **noted),
        "straps": strap,
        "supports": point.supports.get(),
        "surveys": survey,
        "trials": make_trial(plan.lift, by=crew),
        "handovers": HandoverFactory(visit=visit, text="Under the stairs"),
        "visit-reports": VisitReportFactory(visit=visit, author=crew, state="refused", reason="Under the stairs"),
        "visits": visit,
        **_assessed(home, people),
        "work-times": WorkTime.objects.create(visit=visit, person=crew, **time, **noted),
    }


def _assessed(home: Home, people: Mapping[str, User]) -> dict[str, Any]:
    """Assess the home where it stood before, so that what is approved now stands on its own assessment."""
    place = SitingFactory(
        home=home, address="3 Marrowbone Lane", from_on=datetime.date(2001, 1, 1), to_on=datetime.date(2002, 1, 1)
    )
    later = {"starts_at": NOON + 4 * HOUR, "ends_at": NOON + 5 * HOUR}  # after the other place
    VisitFactory(siting=place, lead=people["visit_lead"], **later).crew.add(people["crew"])
    VisitFactory(siting=place, state="cancelled").crew.add(people["other_crew"])
    no = {"verdict": "wait", "reason": "Under the stairs it leaks", "has_active_leak": True, "soil": "frozen"}
    assessment = AssessmentFactory(siting=place, author=people["visit_lead"], **no)
    signed = BlockOverrideFactory(assessment=assessment, code="frozen_soil", reason="Under the stairs")
    paper = PaperFactory(siting=place, note="Under the stairs")
    return {"assessments": assessment, "block-overrides": signed, "papers": paper}


def _plan(siting: Siting, author: User) -> Plan:
    """Read the home, and return a plan that was computed from it."""
    survey = SurveyFactory(siting=siting, author=author)
    read_home(survey, HEIGHTS_IN)
    work_off(chain.ask(submit(survey).pk).new)
    return Plan.objects.get(survey=survey, option="least_work")


def _about_people(people: Mapping[str, User], rows: Mapping[str, Any]) -> dict[str, Any]:
    CompanyFactory()
    manager, crew = people["manager"], people["crew"]
    invitation, _secret = invite(by=manager, email="other@example.com", roles=[Role.CREW])
    link, _secret = SignedLink.objects.issue(
        home=rows["homes"], audience="homeowner", holder="the owner", by=manager, lifetime=HOUR
    )
    token, _secret = DeviceToken.objects.issue(user=crew, name="truck 2", lifetime=HOUR)
    entry = SyncEntry.objects.create(
        kind="finding",
        body={"siting": str(rows["sitings"].pk), "text": "Under the stairs"},
        digest=b"0" * 32,
        author=crew,
        sent_by=crew,
        device="truck 2",
        sequence=1,
        state="set_aside",
        reason={"code": "invalid", "message": "no", "fields": {}},
    )
    subject = UserFactory(username="subject")
    return {
        "account": token,
        "customers": rows["home-contacts"].customer,
        "device-tokens": token,
        "invitations": invitation,
        "jobs": JobFactory(
            home=rows["homes"],
            customer=rows["home-contacts"].customer,
            caller_name=OF_THE_CUSTOMER[0],
            rooms="Under the stairs",
        ),
        "links": link,
        "mails": MailFactory(
            siting=rows["sitings"], customer=rows["home-contacts"].customer, to_address="o@x.example"
        ),
        "mail-texts": MailTextFactory(),
        "people": subject,
        "rule-sets": RuleSetFactory(),
        "set-aside": entry,
        "shared": rows["photos"],
        "signed-links": link,
        "sync": entry,
        "time-off": TimeOffFactory(person=crew, why="Under the stairs"),
        "trucks": TruckFactory(),
        "users": subject,
    }


def photo_file() -> SimpleUploadedFile:
    """Return a photo as a form sends it."""
    return SimpleUploadedFile("one.jpg", picture(), "image/jpeg")


# -- who asks ------------------------------------------------------------------------------------------------------


def clients_of(world: World) -> dict[tuple[str, bool], Client]:
    """Return what everybody asks with, over the API and on pages."""
    everybody = (*PEOPLE, *OUTSIDE)
    return {(who, is_api): _client_of(world, who, is_api=is_api) for who in everybody for is_api in (True, False)}


def _client_of(world: World, who: str, *, is_api: bool) -> Client:
    """Return what ``who`` asks with: over the API a device's token, else a browser that is signed in, or a secret."""
    client: Client = APIClient() if is_api else Client()
    if who == "link_holder":
        client.cookies["sessionid"] = world.secrets["link"]
        if is_api:
            client.defaults["HTTP_AUTHORIZATION"] = f"Bearer {world.secrets['link']}"
    elif is_api and who in world.tokens:
        client.defaults["HTTP_AUTHORIZATION"] = f"Bearer {world.tokens[who]}"
    elif who in world.people:
        client.force_login(world.people[who])
    return client


# -- what is sent: bodies that are taken from whoever may send them, so that nothing but the rights can refuse -------


def _phone(**fields: Any) -> dict[str, Any]:
    return {"id": str(uuid.uuid4()), "noted_at": NOON.isoformat(), **fields}


def _reading(r: Mapping[str, Any]) -> dict[str, Any]:
    known = {"setup": str(r["readings"].setup_id), "point": str(r["points"].pk), "taken_at": NOON.isoformat()}
    return {"readings": [{"id": str(uuid.uuid4()), "shot": "point", "round": 2, "value": "10 1/4", **known}]}


def _visit(r: Mapping[str, Any]) -> dict[str, Any]:
    window = {"starts_at": (NOON + 8 * HOUR).isoformat(), "ends_at": (NOON + 9 * HOUR).isoformat()}  # nobody is there
    return {"siting": r["sitings"].pk, "kind": "recheck", **window}


def _pair(r: Mapping[str, Any]) -> dict[str, Any]:
    a, b = (r["sitings"].points.get(label=label).pk for label in ("A1", "D3"))
    return {"siting": r["sitings"].pk, "a": a, "b": b, "direction": "across"}


def _caution(r: Mapping[str, Any]) -> dict[str, Any]:
    told_of = {"code": "wind", "moment": "slackening", "language": "en", "text_sha256": "a" * 64}
    return _phone(visit=r["visits"].pk, reader_name="Bo", **told_of)


def _contact(r: Mapping[str, Any]) -> dict[str, Any]:
    return {"home": r["homes"].pk, "customer": CustomerFactory().pk, "part": "tenant"}


_OFF = {"from_on": "2026-12-24", "to_on": "2026-12-26", "why": "holiday"}


def _route_plan(r: Mapping[str, Any]) -> dict[str, Any]:
    """Ask for a plan of a home that could be planned, from tomorrow on."""
    Company.objects.update(latitude_deg="35.5", longitude_deg="-97.5")
    first = timezone.localdate() + 24 * HOUR
    days = {"from_on": f"{first}", "to_on": f"{first + 144 * HOUR}"}
    return {"homes": [{"siting": make_due(5).siting_id}], "crews": [{"lead": r["visits"].lead_id}], **days}


def _route_plan_form(r: Mapping[str, Any]) -> dict[str, Any]:
    asked = _route_plan(r)
    siting = asked["homes"][0]["siting"]
    days = {name: asked[name] for name in ("from_on", "to_on")}
    return {"homes": siting, "shown": siting, "weekdays": [*range(5)], f"go_{r['visits'].lead_id}": "on", **days}


_PLACE = {"x_ft": "1", "y_ft": "1"}
_HOME = {"code": "H9", "kind": "manufactured", "sections": 1, "width_ft": "14", "length_ft": "60"}
_ASSESSED = {
    **{"cause": "unknown", "water": "none", "soil": "dry", "doors_windows": "work"},
    **{"land": "not_needed", "verdict": "lift"},
}
_METHOD = {"stage": "as_found", "method": "water_level"}
_WORDS = {"subject": "Your home is due", "body": "Dear {customer}, from {due_from} on."}
_NOTE: Callable[[Mapping[str, Any]], dict[str, Any]] = lambda _r: {"note": "looked at again"}  # noqa: E731
BODIES: dict[str, Callable[[Mapping[str, Any]], dict[str, Any]]] = {
    "POST points/": lambda r: {"siting": r["sitings"].pk, "label": "Z9", "surface": "floor", **_PLACE},
    "POST supports/": lambda r: {"point": PointFactory(siting=r["sitings"]).pk, "height_in": "20"},
    "POST neighbour-pairs/": _pair,
    "POST benchmarks/": lambda r: {"siting": r["sitings"].pk, "label": "BM9", "mark_class": "deep_rod", **_PLACE},
    "POST connections/": lambda r: {"siting": r["sitings"].pk, "code": "Z9", "kind": "drain", **_PLACE},
    "POST straps/": lambda r: {
        "siting": r["sitings"].pk,
        "point": r["points"].pk,
        "code": "Z9",
        "run_in": "40",
        "rise_in": "30",
    },
    "POST drain-runs/": lambda r: {"siting": r["sitings"].pk, "code": "Z9", "diameter_in": "3"},
    "POST drain-nodes/": lambda r: {"run": r["drain-runs"].pk, "at_ft": "600", "invert_in": "12", **_PLACE},
    "POST homes/": lambda _r: dict(_HOME),
    "POST sitings/": lambda _r: {"home": HomeFactory().pk, "address": "1 Elm Row", "from_on": "2024-01-01"},
    "POST customers/": lambda _r: {"name": "Ann Tolliver"},
    "POST home-contacts/": _contact,
    "POST visits/": _visit,
    "POST rule-sets/": lambda _r: {"name": "ours", "values": {}, "source": "decided"},
    "POST users/": lambda _r: {"username": "newest", "roles": ["crew"]},
    "POST invitations/": lambda _r: {"email": "third@example.com", "roles": ["crew"]},
    "POST device-tokens/": lambda _r: {"name": "truck 3"},
    "POST signed-links/": lambda r: {"home": r["homes"].pk, "audience": "engineer", "holder": "B", "days": 3},
    "POST due/<pk>/book/": lambda _r: {
        **{"kind": "recheck", "starts_at": NEXT_YEAR.isoformat(), "ends_at": (NEXT_YEAR + HOUR).isoformat()},
        **{"day": f"{NEXT_YEAR:%Y-%m-%d}", "from_time": "08:00", "to_time": "11:00"},
    },
    "POST jobs/": lambda _r: {"caller_name": "Bo", "symptoms": ["doors"], "answers": {"gas": "none"}},
    "POST jobs/<pk>/take/": lambda r: {
        **{"version": r["jobs"].version, "home": r["homes"].pk, "customer": r["customers"].pk, "part": "owner"}
    },
    "POST jobs/<pk>/erase/": lambda _r: {"name": OF_THE_CUSTOMER[0]},
    "POST jobs/<pk>/decline/": lambda r: {"version": r["jobs"].version, "reason": "too far away"},
    "POST jobs/new/": lambda _r: {
        **{"id": str(uuid.uuid4()), "asked_on": "2026-02-02", "came": "phone", "caller_name": "Bo"}
    },
    "POST jobs/<pk>/change/": lambda r: {
        **{"version": r["jobs"].version, "asked_on": "2026-02-02", "came": "phone", "home": r["jobs"].home_id}
    },
    "POST trucks/": lambda _r: {"id": str(uuid.uuid4()), "name": "the red one"},
    "POST trucks/<pk>/": lambda r: {"version": r["trucks"].version, "name": "the red one"},
    "POST time-off/": lambda _r: {"id": str(uuid.uuid4()), **_OFF},
    "POST time-off/<pk>/": lambda r: {"version": r["time-off"].version, **_OFF},
    "POST findings/": lambda r: _phone(siting=r["sitings"].pk, grade="ok"),
    "POST findings/<pk>/record/": lambda r: {"version": r["supports"].version},
    "POST strap-checks/": lambda r: _phone(strap=r["straps"].pk, grade="ok"),
    "POST work-times/": lambda r: _phone(
        visit=r["visits"].pk, started_at=NOON.isoformat(), ended_at=(NOON + HOUR).isoformat()
    ),
    "POST assessments/": lambda r: {"siting": r["sitings"].pk, **_ASSESSED},
    "POST block-overrides/": lambda r: {
        "assessment": r["assessments"].pk,
        "code": "active_leak",
        "reason": "mended first",
    },
    "POST sitings/<pk>/assessment/": lambda _r: {"id": str(uuid.uuid4()), "assessed_on": "2026-03-03", **_ASSESSED},
    "POST assessments/<pk>/": lambda r: {"version": 1, "assessed_on": "2026-03-03", **_ASSESSED},
    "POST assessments/<pk>/override/": lambda _r: {"version": 1, "code": "active_leak", "reason": "mended first"},
    "POST sitings/<pk>/papers/": lambda _r: {"id": str(uuid.uuid4()), "kind": "permit"},
    "POST papers/<pk>/": lambda _r: {"version": 1, "kind": "permit", "number": "P-9"},
    "POST hazards/": lambda r: _phone(home=r["homes"].pk, kind="dog"),
    "POST hazards/<pk>/clear/": lambda _r: {"why": "the dog is gone"},
    "POST caution-reads/": _caution,
    "POST head-counts/": lambda r: _phone(visit=r["visits"].pk, person_name="Bo", is_in=True),
    "POST handovers/": lambda r: _phone(
        visit=r["visits"].pk, are_straps_slack=False, are_jacks_in=False, is_blocked=True
    ),
    "POST visit-reports/": lambda r: _phone(visit=r["visits"].pk, state="on_site"),
    "POST photo-uploads/": lambda r: _phone(siting=r["sitings"].pk, size_bytes=9, sha256="a" * 64),
    "POST visits/<pk>/head-count/": lambda _r: {"id": str(uuid.uuid4()), "person_name": "Bo", "is_in": "true"},
    "POST homes/<pk>/hazards/": lambda _r: {"id": str(uuid.uuid4()), "kind": "dog"},
    "POST visits/new/": lambda _r: {},
    "POST visits/<pk>/change/": lambda r: {
        **{"version": r["visits"].version, "kind": "recheck", "day": "2026-03-05"},
        **{"from_time": "08:00", "to_time": "12:00"},
    },
    "POST visits/<pk>/state/": lambda r: {"version": r["visits"].version, "state": "on_site"},
    "POST visits/<pk>/handover/": lambda _r: {
        **{"id": str(uuid.uuid4()), "are_straps_slack": "false", "are_jacks_in": "false", "is_blocked": "true"}
    },
    "POST week/put/": lambda r: {
        "visit": r["visits"].pk,
        "version": r["visits"].version,
        "day": "2026-03-05",
        "lead": "",
    },
    "POST visits/<pk>/read/": lambda _r: {"moment": "start", "language": "en", "reader_name": "Bo"},
    "POST visits/<pk>/inspection/": lambda _r: {
        "id": str(uuid.uuid4()),
        "kind": "item",
        "key": "belly",
        "grade": "ok",
    },
    "POST visits/<pk>/inspection/photos/": lambda r: {
        "id": str(uuid.uuid4()),
        "finding": r["findings"].pk,
        "file": photo_file(),
    },
    "POST sitings/<pk>/drains/": lambda _r: {"id": str(uuid.uuid4()), "code": "Z9", "diameter_in": "3"},
    "POST pass-entries/": lambda r: _phone(plan=r["plans"].pk, point=r["points"].pk, pass_number=2),
    "POST approvals/<pk>/withdraw/": lambda _r: {"why": "read again"},
    "POST closings/": lambda r: {"approval": r["approvals"].pk},
    "POST approvals/<pk>/work/": lambda r: {"id": str(uuid.uuid4()), "point": r["points"].pk, "pass_number": 1},
    "POST approvals/<pk>/closing/": lambda _r: {"doors_windows": "work", "gas": "not_moved"},
    "POST photos/": lambda r: _phone(siting=r["sitings"].pk, file=photo_file()),
    "POST route-plans/": _route_plan,
    "POST due/plan/": _route_plan_form,
    "POST trials/": lambda r: {"survey": r["plans"].survey_id, "changes": {"tolerance_in": 0.375}},
    "POST surveys/": lambda r: {"siting": r["sitings"].pk, **_METHOD},
    "POST setups/": lambda r: {"survey": r["surveys"].pk, "code": "S9", "sense": "up"},
    "POST surveys/<survey_id>/readings/": _reading,
    "POST sync/<pk>/leave-out/": lambda _r: {"why": "sent by mistake"},
    "POST set-aside/<entry>/leave-out/": lambda _r: {"why": "sent by mistake"},
    "POST users/<pk>/erase/": lambda _r: {"name": "subject"},
    "POST customers/<pk>/erase/": lambda r: {"name": r["customers"].name},
    "POST homes/<pk>/links/": lambda _r: {"audience": "engineer", "holder": "B", "days": 3},
    "POST sitings/<pk>/photos/": lambda _r: {"id": str(uuid.uuid4()), "file": photo_file()},
    "POST account/browsers/end/": lambda _r: {"which": "others"},
    "POST people/<pk>/erase/": lambda _r: {"name": "subject"},
    "POST mail-texts/": lambda _r: {"kind": "due", "language": "en", **_WORDS},
    "PATCH mail-texts/<pk>/": lambda _r: {"subject": "We come on {day}"},
    "POST mails/words/<kind=booked>/<language=es>/": lambda _r: {"subject": "{day}", "body": "{from}"},
    "PATCH company/": lambda _r: {"letterhead": "Plumb"},
    "PATCH users/<pk>/": lambda _r: {"first_name": "Sam"},
    "PATCH customers/<pk>/": lambda _r: {"notes": "calls in the morning"},
    "PATCH home-contacts/<pk>/": lambda _r: {"to_on": "2026-01-01"},
    "PATCH homes/<pk>/": lambda _r: {"access_notes": "gate"},
    "PATCH sitings/<pk>/": lambda _r: {"north_deg": 10},
    "PATCH points/<pk>/": lambda _r: {"design_offset_in": "0.25"},
    "PATCH neighbour-pairs/<pk>/": lambda _r: {"tolerance_in": "0.25"},
    "PATCH benchmarks/<pk>/": lambda _r: {"description": "by the gate"},
    "PATCH assessments/<pk>/": lambda _r: {"evidence": "a wet corner"},
    "PATCH papers/<pk>/": _NOTE,
    "PATCH visits/<pk>/": _NOTE,
    "PATCH jobs/<pk>/": _NOTE,
    "PATCH trucks/<pk>/": _NOTE,
    "PATCH time-off/<pk>/": lambda _r: {"why": "holiday"},
    "PATCH supports/<pk>/": _NOTE,
    "PATCH connections/<pk>/": _NOTE,
    "PATCH straps/<pk>/": _NOTE,
    "PATCH drain-runs/<pk>/": _NOTE,
    "PATCH drain-nodes/<pk>/": lambda _r: {"invert_in": "11.5"},
    "PATCH surveys/<pk>/": _NOTE,
    "PATCH setups/<pk>/": _NOTE,
    "PATCH closings/<pk>/": lambda _r: {"are_wedges_tapped": True},
}
