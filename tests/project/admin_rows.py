"""One maker a model, for tests of the admin's lists: each call adds a row with all that it refers to."""

import datetime
from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pghistory.models
from django.apps import apps
from django.db.models import Model
from django.utils import timezone

from calcs.models import NightlyRun, PlanCheck, WorkerBeat
from jobs.models import (
    BrowserSession,
    CalendarFeed,
    Company,
    DeviceToken,
    Invitation,
    Photo,
    SignedLink,
    SignedLinkUse,
    Visit,
)
from surveys.models import SyncEntry
from tests.factories import (
    AssessmentFactory,
    BenchmarkFactory,
    BlockOverrideFactory,
    CompanyFactory,
    ConnectionFactory,
    CustomerFactory,
    DrainNodeFactory,
    DrainRunFactory,
    DueFactory,
    HomeContactFactory,
    HomeFactory,
    MailFactory,
    NeighbourPairFactory,
    PaperFactory,
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
)
from tests.jobs.api.test_resources import LISTS, make_calculation, make_plan

HOUR = datetime.timedelta(hours=1)


def make_company() -> object:
    """There is one, whose rows of changes are as many as it was changed."""
    company = Company.objects.first() or CompanyFactory()
    company.letterhead += "x"
    company.save()
    return company


def make_link() -> SignedLink:
    link, _secret = SignedLink.objects.issue(
        home=HomeFactory(), audience="homeowner", holder="Ann Tolliver", by=UserFactory(), lifetime=HOUR
    )
    return link


def make_session() -> BrowserSession:
    user = UserFactory()
    return BrowserSession.objects.create(
        session_key=uuid4().hex, session_data="", expire_date=timezone.now() + HOUR, user=user, browser="one"
    )


def make_invitation() -> Invitation:
    by = UserFactory()
    return Invitation.objects.create(
        email="new@plumb.example", roles=["crew"], digest=uuid4().hex, invited_by=by, expires_at=timezone.now() + HOUR
    )


def make_photo() -> Photo:
    return Photo.objects.create(
        siting=SitingFactory(),
        author=UserFactory(),
        noted_at=timezone.now(),
        file="photos/none.jpg",
        media_type="image/jpeg",
        size_bytes=1,
        width_px=1,
        height_px=1,
        sha256="0" * 64,
    )


def make_visit_with_crew() -> Visit:
    visit = VisitFactory(lead=UserFactory())
    visit.crew.add(UserFactory())
    visit.trucks.add(TruckFactory())
    return visit


def make_sync_entry() -> object:
    person = UserFactory()
    return SyncEntry.objects.create(
        kind="reading",
        body={"value": "1"},
        digest=person.pk.bytes * 2,
        author=person,
        sent_by=person,
        device="phone",
        sequence=1,
        state="set_aside",
        reason={"code": "invalid", "message": "No such point.", "fields": {}},
        **({"entry": person.pk} if any(field.name == "entry" for field in SyncEntry._meta.fields) else {}),
    )


def make_check() -> PlanCheck:
    plan = make_plan()
    return PlanCheck.objects.create(plan=plan, kind="passes", calculation=make_calculation(kind="passes"))


MAKERS: dict[str, Callable[[], Any]] = {
    "jobs.assessment": AssessmentFactory,
    "jobs.benchmark": lambda: BenchmarkFactory(replaced_by=BenchmarkFactory(), retired_on="2026-01-01"),
    "jobs.blockoverride": BlockOverrideFactory,
    "jobs.browsersession": make_session,
    "jobs.cautionread": LISTS["caution-reads"],
    "jobs.company": make_company,
    "jobs.connection": ConnectionFactory,
    "jobs.customer": CustomerFactory,
    "jobs.devicetoken": lambda: DeviceToken.objects.issue(user=UserFactory(), name="phone", lifetime=HOUR),
    "jobs.drainnode": DrainNodeFactory,
    "jobs.drainrun": DrainRunFactory,
    "jobs.finding": LISTS["findings"],
    "jobs.handover": LISTS["handovers"],
    "jobs.hazard": LISTS["hazards"],
    "jobs.headcount": LISTS["head-counts"],
    "jobs.home": lambda: HomeFactory(rule_set=RuleSetFactory()),
    "jobs.homecontact": HomeContactFactory,
    "jobs.calendarfeed": lambda: CalendarFeed.objects.issue(UserFactory()),
    "jobs.mail": lambda: MailFactory(made_by=UserFactory()),
    "jobs.mailtext": LISTS["mail-texts"],
    "jobs.invitation": make_invitation,
    "jobs.job": LISTS["jobs"],
    "jobs.neighbourpair": NeighbourPairFactory,
    "jobs.occupied": lambda: TimeOffFactory(person=UserFactory()),
    "jobs.paper": PaperFactory,
    "jobs.photo": make_photo,
    "jobs.photoupload": LISTS["photo-uploads"],
    "jobs.point": PointFactory,
    "jobs.ruleset": RuleSetFactory,
    "jobs.signedlink": make_link,
    "jobs.signedlinkuse": lambda: SignedLinkUse.objects.create(link=make_link()),
    "jobs.siting": SitingFactory,
    "jobs.strap": StrapFactory,
    "jobs.strapcheck": LISTS["strap-checks"],
    "jobs.support": SupportFactory,
    "jobs.timeoff": lambda: TimeOffFactory(truck=TruckFactory()),
    "jobs.truck": TruckFactory,
    "jobs.user": UserFactory,
    "jobs.visit": make_visit_with_crew,
    "jobs.visitreport": LISTS["visit-reports"],
    "jobs.worktime": LISTS["work-times"],
    "surveys.reading": LISTS["readings"],
    "surveys.setup": SetupFactory,
    "surveys.survey": lambda: SurveyFactory(author=UserFactory(), visit=VisitFactory()),
    "surveys.syncentry": make_sync_entry,
    "calcs.answer": LISTS["answers"],
    "calcs.approval": LISTS["approvals"],
    "calcs.closing": LISTS["closings"],
    "calcs.calculation": LISTS["calculations"],
    "calcs.due": DueFactory,
    "calcs.nightlyrun": lambda: NightlyRun.objects.create(
        day=datetime.date(2026, 3, 3) + datetime.timedelta(days=NightlyRun.objects.count())
    ),
    "calcs.passentry": LISTS["pass-entries"],
    "calcs.plan": LISTS["plans"],
    "calcs.plancheck": make_check,
    "calcs.routeplan": LISTS["route-plans"],
    "calcs.trial": LISTS["trials"],
    "calcs.workerbeat": lambda: WorkerBeat.objects.create(worker=str(WorkerBeat.objects.count()), at=timezone.now()),
}


def own_models() -> list[type[Model]]:
    """Every table of the project's own apps, the records of changes among them; tables of links only are left out."""
    models = [model for app in ("jobs", "surveys", "calcs") for model in apps.get_app_config(app).get_models()]
    return sorted((model for model in models if not model._meta.proxy), key=lambda model: model._meta.label)


def is_record(model: type[Model]) -> bool:
    """Tell whether a table holds the changes of another."""
    return issubclass(model, pghistory.models.Event)


def make(model: type[Model]) -> object:
    """Add a row."""
    label = model._meta.label_lower
    if not is_record(model):
        return MAKERS[label]()
    is_link = label in ("jobs.visitcrewevent", "jobs.visittruckevent")
    return MAKERS["jobs.visit" if is_link else label.removesuffix("event")]()
