"""A record with rows in every table, for the drill. A new table needs its row here."""

import datetime
from pathlib import Path

import pghistory
from axes.models import AccessAttempt, AccessAttemptExpiration, AccessFailureLog, AccessLog
from django.conf import settings
from django.contrib.admin.models import LogEntry
from django.contrib.auth.models import Group, Permission
from django.contrib.contenttypes.models import ContentType
from django.utils import timezone

from calcs import beats, chain
from calcs.models import Closing, NightlyRun, PassEntry, Plan
from jobs.models import (
    BrowserSession,
    CalendarFeed,
    DeviceToken,
    Finding,
    Invitation,
    Photo,
    SignedLink,
    SignedLinkUse,
    StrapCheck,
    User,
    WorkTime,
)
from surveys.models import Survey, SyncEntry
from tests.calcs.approved import approved, withdrawn
from tests.calcs.routes.town import make_route_plan
from tests.calcs.working import make_trial, read_survey, work_off
from tests.factories import (
    NOON,
    BlockOverrideFactory,
    CautionReadFactory,
    CompanyFactory,
    DrainNodeFactory,
    HandoverFactory,
    HazardFactory,
    HeadCountFactory,
    HomeContactFactory,
    JobFactory,
    MailFactory,
    MailTextFactory,
    PaperFactory,
    PhotoUploadFactory,
    RuleSetFactory,
    TimeOffFactory,
    TruckFactory,
    UserFactory,
    VisitFactory,
    VisitReportFactory,
)

LATER = NOON + datetime.timedelta(hours=2)


def photo_bytes() -> bytes:
    """Return what stands for a photo."""
    return bytes(range(256)) * 40


def fill() -> None:
    """Put rows into every table, and a file beside them."""
    Permission.objects.get_or_create(  # another test may have emptied what migrations made
        codename="look", content_type=ContentType.objects.get_for_model(User), defaults={"name": "look"}
    )
    person = UserFactory()
    with pghistory.context(user=str(person.pk)):
        CompanyFactory()
        survey = read_survey()
        work_off(chain.ask(survey.pk).new)
        HomeContactFactory(home=survey.siting.home)
        DrainNodeFactory(run__siting=survey.siting)
        RuleSetFactory()
    _work(survey, person)
    _access(survey, person)
    _of_libraries(person)
    beats.note("one@here")


def _work(survey: Survey, person: User) -> None:
    home = survey.siting.home
    job = JobFactory(
        home=home, caller_name="Señora Núñez", rooms="hall,\t½ bath", answers={"added": 'a "porch", \\N'}
    )
    visit = VisitFactory(siting=survey.siting, job=job)
    visit.crew.add(person)
    visit.trucks.add(TruckFactory(note="low tire,\n½ worn"))
    TimeOffFactory(person=person, why="½ a week away")
    point, strap = survey.siting.points.all()[0], survey.siting.straps.all()[0]
    phone = {"author": person, "device": "truck 2 phone", "sequence": 1, "noted_at": NOON}
    Finding.objects.create(siting=survey.siting, grade="fix", text='Wedge "hangs",\n\\N ½ in, schief', **phone)
    StrapCheck.objects.create(strap=strap, grade="ok", **phone)
    WorkTime.objects.create(visit=visit, person=person, started_at=NOON, ended_at=LATER, **phone)
    make_trial(Plan.objects.all()[0].lift, by=person)
    make_route_plan(requested_by=person, set_aside={str(survey.siting_id): "place"})
    NightlyRun.objects.create(day=NOON.date(), priors={"all": 0.05}, failures=[{"siting": "?", "message": "½ \\N"}])
    approval = withdrawn(approved(Plan.objects.all()[0], by=person))
    Closing.objects.create(
        approval=approval, gas="checked", gas_checked_by="A. Fitter", exceptions="A door rubs, ½ in"
    )
    PassEntry.objects.create(plan=Plan.objects.all()[0], point=point, pass_number=1, **phone)
    HazardFactory(home=survey.siting.home, author=person)
    MailFactory(siting=survey.siting, visit=visit, made_by=person, body="Señora Núñez,\n\t½ in", error="451 no room")
    MailTextFactory()
    BlockOverrideFactory(assessment__siting=survey.siting, signed_by=person)
    PaperFactory(siting=survey.siting)
    CautionReadFactory(visit=visit, author=person)
    HeadCountFactory(visit=visit, author=person)
    HandoverFactory(visit=visit, text="Jacks in at B4, ½ turn left")
    VisitReportFactory(visit=visit, author=person, state="refused", reason="Locked gate, ½ mile off")
    PhotoUploadFactory(siting=survey.siting, author=person)
    photo = Photo(
        siting=survey.siting,
        media_type="image/jpeg",
        size_bytes=len(photo_bytes()),
        width_px=4,
        height_px=3,
        sha256="-",
        **phone,
    )
    photo.file.name = "photos/2026/03/wedge at A1, ½ in.jpg"
    photo.save()
    path = Path(settings.MEDIA_ROOT, photo.file.name)
    path.parent.mkdir(parents=True)
    path.write_bytes(photo_bytes())
    SyncEntry.objects.create(
        kind="time",
        body={"note": "no such visit"},
        digest=b"\x00\xff" * 16,
        author=person,
        sent_by=person,
        device="truck 2 phone",
        sequence=2,
        state="set_aside",
        reason={"code": "invalid", "message": "-", "fields": {}},
    )


def _access(survey: Survey, person: User) -> None:
    CalendarFeed.objects.issue(person)
    DeviceToken.objects.issue(user=person, name="truck 2 phone", lifetime=datetime.timedelta(days=1))
    Invitation.objects.create(
        email="new@example.com", roles=["crew"], digest="0" * 64, invited_by=person, expires_at=LATER
    )
    link, _ = SignedLink.objects.issue(
        home=survey.siting.home,
        audience="engineer",
        holder="an engineer",
        by=person,
        lifetime=datetime.timedelta(days=1),
    )
    SignedLinkUse.objects.create(link=link, address="203.0.113.7")
    BrowserSession.objects.create(session_key="k" * 32, session_data="-", expire_date=LATER, user=person)


def _of_libraries(person: User) -> None:
    group = Group.objects.create(name="a group")
    group.permissions.add(Permission.objects.all()[0])
    person.groups.add(group)
    person.user_permissions.add(Permission.objects.all()[0])
    LogEntry.objects.create(
        user=person, action_flag=1, object_repr="-", content_type=ContentType.objects.get_for_model(User)
    )
    tried = {"username": "ann", "ip_address": "203.0.113.7", "user_agent": "-", "path_info": "/", "http_accept": "-"}
    attempt = AccessAttempt.objects.create(**tried, get_data="", post_data="", failures_since_start=1)
    AccessAttemptExpiration.objects.create(access_attempt=attempt, expires_at=timezone.now())
    AccessFailureLog.objects.create(**tried)
    AccessLog.objects.create(**tried)
