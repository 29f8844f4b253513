"""The small house from its plan to the end in one day: approved, lifted, read as left, looked at, and closed."""

import io
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np
from django.core.files.base import ContentFile
from django.utils import timezone
from PIL import Image, ImageDraw

from calcs import approving, closing, work
from calcs.demo import office, phone
from calcs.demo.answers import wait_for
from calcs.demo.cast import Cast
from calcs.demo.crew import heights_in, walk
from calcs.demo.people import MANAGER
from calcs.demo.truth import Home
from calcs.models import Approval, Closing, Plan
from jobs import photos
from jobs.head_counts import note_head_count
from jobs.models import HeadCount, Photo, User, Visit
from surveys.models import Survey

SEATED_SD_IN = 0.02  # how far from its plan a support comes to rest here
WHY = "Small pads were found and stay for now: the owner knows, and it is read again in a year."
CHECKED = {
    **dict.fromkeys(
        ("are_wedges_tapped", "are_straps_tight", "is_leak_checked", "are_drains_checked", "is_everybody_out"), True
    ),
    "doors_windows": "work",
    "gas": Closing.Gas.NOT_MOVED,
}


def lines(cast: Cast, home: Home, layout: office.Row, as_found: str) -> Iterator[str]:
    """Do what is left to do of a home's work, and say it; nothing where it is closed already."""
    siting = layout["siting"]
    if Closing.objects.filter(approval__siting=siting, closed_at__isnull=False).exists():
        return
    people = {user.username: user for user in User.objects.all()}
    manager, lead = people[MANAGER], people[home.lead]
    plan = Plan.objects.current().get(survey=uuid.UUID(as_found), is_recommended=True)
    approval = approving.standing_approval(plan.survey.siting) or approving.approve(plan, manager, WHY)
    steps = _lift(approval, lead)
    yield f"plan approved by {manager}; {steps} steps of jacking noted by {lead}"
    survey = _read_as_left(cast, home, layout, approval)
    _come_out(approval, [lead, *(people[name] for name in home.crew)])
    _photograph(approval, lead)
    done = closing.note_checked(approval=approval, by=lead, fields={**CHECKED, "as_left": survey})
    still_open = closing.what_is_open(done)
    closing.close(closing=done, by=manager, reason=WHY if still_open else "")
    told = "; ".join(each.words for each in still_open) or "nothing"
    yield f"read as left, photographed, closed by {manager}; still open then: {told}"


def _lift(approval: Approval, by: User) -> int:
    points = {str(point.pk): point for point in approval.siting.points.all()}
    steps = work.progress_of_work(approval).steps
    for step in steps:
        key = uuid.uuid5(approval.pk, f"{step.pass_number} {step.point}")
        work.note_step(
            approval=approval, key=key, by=by, point=points[step.point], pass_number=step.pass_number, is_done=True
        )
    return len(steps)


def _read_as_left(cast: Cast, home: Home, layout: office.Row, approval: Approval) -> Survey:
    now = timezone.now().isoformat()
    left = replace(home, survey={**home.survey, "stage": "as_left", "started_at": now, "note": "As left."})
    sent = phone.open_survey(cast.crew, left, layout)
    frame = office.frame_of(layout)
    heights = _heights_left(home, layout, approval)
    noise = np.random.default_rng([home.seed, 3])
    taken = walk(heights, home.marks, home.setups, frame, noise=noise, sd_in=home.reading_sd_in)
    phone.send(cast.crew, sent, taken)
    phone.hand_in(cast.crew, sent)
    wait_for(cast.crew, sent.survey["id"], told=lambda name, seconds: None, kinds=("levels", "flatness"))
    return Survey.objects.get(pk=sent.survey["id"])


def _heights_left(home: Home, layout: office.Row, approval: Approval) -> dict[str, float]:
    """Return how high everything truly stands after the lift: as planned, but for how supports seat."""
    seated = np.random.default_rng([home.seed, 4])
    heights = heights_in(home, office.frame_of(layout))
    moves = _moves(approval)
    return {
        label: height_in + (moves[label] + seated.normal(0.0, SEATED_SD_IN) if moves.get(label) else 0.0)
        for label, height_in in heights.items()
    }


def _moves(approval: Approval) -> Mapping[str, float]:
    """Return how far the plan brings each point, by label [in]."""
    labels = {str(point.pk): point.label for point in approval.siting.points.all()}
    options = (approval.plan.lift.result or {})["options"]
    option = next(each for each in options if each["name"] == approval.plan.option)
    return {labels[move["code"]]: move["move_in"] for move in option["moves"]}


def _come_out(approval: Approval, people: list[User]) -> None:
    visit = Visit.objects.filter(siting=approval.siting).latest("starts_at")
    for is_in in (True, False):
        for person in people:
            key = uuid.uuid5(approval.pk, f"{person.pk} {is_in}")
            count = HeadCount(pk=key, visit=visit, person_name=str(person), is_in=is_in, author=people[0])
            count.noted_at = timezone.now()
            note_head_count(count)


def _photograph(approval: Approval, by: User) -> None:
    """Keep a picture, drawn: three courses of block under a girder."""
    image = Image.new("RGB", (640, 480), "#d9d2c3")
    draw = ImageDraw.Draw(image)
    draw.rectangle((0, 60, 640, 130), fill="#8a6a45")
    for number, top in enumerate((150, 250, 350)):
        draw.rectangle(
            (220 - 10 * number, top, 420 + 10 * number, top + 90), fill="#9d9d97", outline="#55554f", width=4
        )
    data = io.BytesIO()
    image.save(data, "JPEG")
    key = uuid.uuid5(approval.pk, "photo")
    photo = Photo(pk=key, siting=approval.siting, author=by, noted_at=timezone.now(), caption="B3 as left")
    photos.take(photo, ContentFile(data.getvalue(), name="as_left.jpg"))
