"""Work that is finished but for the closing: every pass noted, read as left, straps checked, a photo taken."""

import datetime
from collections.abc import Mapping
from typing import Any

from django.utils import timezone

from calcs import chain, runner
from calcs.models import Approval, Closing, PassEntry
from calcs.work import progress_of_work
from jobs.models import Photo, StrapCheck, User
from surveys.models import Survey
from tests.calcs.approved import approved_home
from tests.calcs.working import standing, submit
from tests.factories import SurveyFactory, UserFactory, read_home

LEVEL_IN = {"BM1": 3.0, "BM2": 4.0, "BM3": 5.0}
ALL_CHECKED: Mapping[str, Any] = {
    **dict.fromkeys(("are_wedges_tapped", "are_straps_tight", "is_leak_checked", "are_drains_checked"), True),
    **{"doors_windows": "work", "gas": "not_moved", "is_everybody_out": True},
}


def ago(**span: float) -> datetime.datetime:
    return timezone.now() - datetime.timedelta(**span)


def note_all(approval: Approval, by: User) -> None:
    """Note every step of a plan as done, hours ago."""
    for step in progress_of_work(approval).steps:
        PassEntry.objects.create(
            plan=approval.plan, point_id=step.point, pass_number=step.pass_number, author=by, noted_at=ago(hours=5)
        )


def read_as_left(approval: Approval, heights_in: Mapping[str, float] = LEVEL_IN, **fields: Any) -> Survey:
    """Read the home as left, hand it in, and have it computed."""
    usual = {"siting": approval.siting, "stage": "as_left", "started_at": ago(hours=3)}
    survey: Survey = SurveyFactory(**usual | fields)
    read_home(survey, heights_in)
    find_heights(submit(survey))
    return Survey.objects.select_related("siting__home").get(pk=survey.pk)


def find_heights(survey: Survey) -> None:
    """Have heights and flatness of a survey computed, and none of the plans that would follow."""
    for kind in ("levels", "flatness"):
        chain.ask(survey.pk)
        runner.run(standing(survey, kind).pk)


def check_straps(approval: Approval, by: User, **fields: Any) -> None:
    """Find every strap tight."""
    usual = {"grade": "ok", "noted_at": ago(hours=2)}
    for strap in approval.siting.straps.all():
        StrapCheck.objects.create(strap=strap, author=by, **usual | fields)


def take_photo(approval: Approval, by: User, **fields: Any) -> Photo:
    """Keep a photo's row; no test that uses it opens the file."""
    sizes = {"size_bytes": 9, "width_px": 4, "height_px": 3, "sha256": "0" * 64}
    usual = {"file": "photos/1.jpg", "media_type": "image/jpeg", "noted_at": ago(hours=2)}
    return Photo.objects.create(siting=approval.siting, author=by, **sizes, **usual | fields)


def finished(approval: Approval | None = None) -> Closing:
    """Return a closing of which nothing is open."""
    approval = approval or approved_home()
    by = UserFactory(roles=["crew"])
    note_all(approval, by)
    as_left = read_as_left(approval)
    check_straps(approval, by)
    take_photo(approval, by)
    return Closing.objects.create(approval=approval, as_left=as_left, **ALL_CHECKED)
