"""One factory a model, with plain sequences; and a small home laid out and read, for tests that need a whole one."""

import datetime
import hashlib
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

import factory
from factory.django import DjangoModelFactory

from calcs import models as calcs
from jobs import models as jobs
from jobs.models import Role
from surveys import models as surveys

NOON = datetime.datetime(2026, 3, 3, 12, 0, tzinfo=datetime.UTC)
FIVE_MINUTES = datetime.timedelta(minutes=5)


class UserFactory(DjangoModelFactory[jobs.User]):
    class Meta:
        model = jobs.User
        skip_postgeneration_save = True

    username = factory.Sequence(lambda n: f"person{n}")
    roles = factory.LazyFunction(lambda: [Role.CREW])


class CompanyFactory(DjangoModelFactory[jobs.Company]):
    class Meta:
        model = jobs.Company

    name = "Plumb and True"
    time_zone = "America/Chicago"


class RuleSetFactory(DjangoModelFactory[jobs.RuleSet]):
    class Meta:
        model = jobs.RuleSet

    name = factory.Sequence(lambda n: f"rules {n}")
    source = "decided by the manager"


class CustomerFactory(DjangoModelFactory[jobs.Customer]):
    class Meta:
        model = jobs.Customer

    name = factory.Sequence(lambda n: f"Customer {n}")


class HomeFactory(DjangoModelFactory[jobs.Home]):
    class Meta:
        model = jobs.Home

    code = factory.Sequence(lambda n: f"H{n:04d}")
    kind = jobs.HomeKind.MANUFACTURED
    sections = 2
    width_ft = Decimal(28)
    length_ft = Decimal(24)


class HomeContactFactory(DjangoModelFactory[jobs.HomeContact]):
    class Meta:
        model = jobs.HomeContact

    home = factory.SubFactory(HomeFactory)
    customer = factory.SubFactory(CustomerFactory)


class SitingFactory(DjangoModelFactory[jobs.Siting]):
    class Meta:
        model = jobs.Siting

    home = factory.SubFactory(HomeFactory)
    address = factory.Sequence(lambda n: f"{n + 1} Juniper Loop")
    from_on = datetime.date(2020, 1, 1)


class PointFactory(DjangoModelFactory[jobs.Point]):
    class Meta:
        model = jobs.Point

    siting = factory.SubFactory(SitingFactory)
    label = factory.Sequence(lambda n: f"Z{n}")
    surface = jobs.Surface.I_BEAM
    x_ft = factory.Sequence(lambda n: Decimal(n % 60))
    y_ft = Decimal(2)
    walk_order = factory.Sequence(int)


class SupportFactory(DjangoModelFactory[jobs.Support]):
    class Meta:
        model = jobs.Support

    point = factory.SubFactory(PointFactory)
    height_in = Decimal(26)


class NeighbourPairFactory(DjangoModelFactory[jobs.NeighbourPair]):
    class Meta:
        model = jobs.NeighbourPair

    siting = factory.SubFactory(SitingFactory)
    a = factory.SubFactory(PointFactory, siting=factory.SelfAttribute("..siting"))
    b = factory.SubFactory(PointFactory, siting=factory.SelfAttribute("..siting"))


class BenchmarkFactory(DjangoModelFactory[jobs.Benchmark]):
    class Meta:
        model = jobs.Benchmark

    point = factory.SubFactory(PointFactory, surface=jobs.Surface.OUTSIDE)
    mark_class = jobs.Benchmark.MarkClass.DEEP_ROD


class ConnectionFactory(DjangoModelFactory[jobs.Connection]):
    class Meta:
        model = jobs.Connection

    siting = factory.SubFactory(SitingFactory)
    code = factory.Sequence(lambda n: f"D{n}")
    kind = jobs.ConnectionKind.DRAIN
    x_ft = Decimal(12)
    y_ft = Decimal(7)


class StrapFactory(DjangoModelFactory[jobs.Strap]):
    class Meta:
        model = jobs.Strap

    siting = factory.SelfAttribute("point.siting")
    point = factory.SubFactory(PointFactory)
    code = factory.Sequence(lambda n: f"T{n}")
    run_in = Decimal(40)
    rise_in = Decimal(30)


class DrainRunFactory(DjangoModelFactory[jobs.DrainRun]):
    class Meta:
        model = jobs.DrainRun

    siting = factory.SubFactory(SitingFactory)
    code = factory.Sequence(lambda n: f"DR{n}")
    diameter_in = Decimal(3)


class DrainNodeFactory(DjangoModelFactory[jobs.DrainNode]):
    class Meta:
        model = jobs.DrainNode

    run = factory.SubFactory(DrainRunFactory)
    at_ft = factory.Sequence(lambda n: Decimal(n % 500))
    invert_in = Decimal(18)
    x_ft = Decimal(12)
    y_ft = Decimal(7)


class TruckFactory(DjangoModelFactory[jobs.Truck]):
    class Meta:
        model = jobs.Truck

    name = factory.Sequence(lambda n: f"truck {n}")
    payload_lb = 3_000


class JobFactory(DjangoModelFactory[jobs.Job]):
    class Meta:
        model = jobs.Job

    home = factory.SubFactory(HomeFactory)
    asked_on = datetime.date(2026, 2, 2)


class TimeOffFactory(DjangoModelFactory[jobs.TimeOff]):
    class Meta:
        model = jobs.TimeOff

    from_on = datetime.date(2026, 7, 3)
    to_on = datetime.date(2026, 7, 5)
    why = "holiday"


class VisitFactory(DjangoModelFactory[jobs.Visit]):
    class Meta:
        model = jobs.Visit

    siting = factory.SubFactory(SitingFactory)
    kind = jobs.Visit.Kind.INSPECTION
    starts_at = NOON
    ends_at = NOON + datetime.timedelta(hours=3)

    class Params:
        # One after the other, for those who go to several homes: nobody is in two places.
        in_turn = factory.Trait(
            starts_at=factory.Sequence(lambda n: NOON + n % 36 * FIVE_MINUTES),
            ends_at=factory.LazyAttribute(lambda visit: visit.starts_at + FIVE_MINUTES),
        )


class MailFactory(DjangoModelFactory[jobs.Mail]):
    class Meta:
        model = jobs.Mail

    kind = jobs.MailKind.BOOKED
    customer = factory.SubFactory(CustomerFactory, email=factory.Sequence(lambda n: f"c{n}@customer.example"))
    siting = factory.SubFactory(SitingFactory)
    to_address = factory.SelfAttribute("customer.email")
    language = "en"
    subject = "Your visit"
    body = "We come."


class MailTextFactory(DjangoModelFactory[jobs.MailText]):
    class Meta:
        model = jobs.MailText

    kind = jobs.MailKind.BOOKED
    language = "en"
    subject = "We come on {day}"
    body = "Dear {customer}, we come at {from}."


class HazardFactory(DjangoModelFactory[jobs.Hazard]):
    class Meta:
        model = jobs.Hazard

    home = factory.SubFactory(HomeFactory)
    kind = jobs.Hazard.Kind.DOG
    author = factory.SubFactory(UserFactory)
    noted_at = NOON


class AssessmentFactory(DjangoModelFactory[jobs.Assessment]):
    class Meta:
        model = jobs.Assessment

    siting = factory.SubFactory(SitingFactory)
    author = factory.SubFactory(UserFactory)
    assessed_on = datetime.date(2026, 3, 3)
    cause = jobs.Assessment.Cause.SMALL_FOOTING
    evidence = "pads of 12 in under the mate line"
    water = jobs.Assessment.Water.NONE
    soil = jobs.Assessment.Soil.MOIST
    doors_windows = jobs.DoorsWindows.WORK
    verdict = jobs.Assessment.Verdict.LIFT


class BlockOverrideFactory(DjangoModelFactory[jobs.BlockOverride]):
    class Meta:
        model = jobs.BlockOverride

    assessment = factory.SubFactory(AssessmentFactory, has_active_leak=True)
    code = "active_leak"
    reason = "the plumber comes on the same day"
    signed_by = factory.SubFactory(UserFactory, roles=[Role.MANAGER])


class PaperFactory(DjangoModelFactory[jobs.Paper]):
    class Meta:
        model = jobs.Paper

    siting = factory.SubFactory(SitingFactory)
    kind = jobs.Paper.Kind.PERMIT
    number = factory.Sequence(lambda n: f"P-{n}")


class CautionReadFactory(DjangoModelFactory[jobs.CautionRead]):
    class Meta:
        model = jobs.CautionRead

    visit = factory.SubFactory(VisitFactory)
    code = "wind"
    moment = "slackening"
    reader_name = factory.Sequence(lambda n: f"Reader {n}")
    language = "en"
    text_sha256 = "0" * 64
    author = factory.SubFactory(UserFactory)
    noted_at = NOON


class HeadCountFactory(DjangoModelFactory[jobs.HeadCount]):
    class Meta:
        model = jobs.HeadCount

    visit = factory.SubFactory(VisitFactory)
    person_name = factory.Sequence(lambda n: f"Helper {n}")
    is_in = True
    author = factory.SubFactory(UserFactory)
    noted_at = NOON


class VisitReportFactory(DjangoModelFactory[jobs.VisitReport]):
    class Meta:
        model = jobs.VisitReport

    visit = factory.SubFactory(VisitFactory)
    state = jobs.VisitReport.State.ON_SITE
    author = factory.SubFactory(UserFactory)
    noted_at = NOON


class HandoverFactory(DjangoModelFactory[jobs.Handover]):
    class Meta:
        model = jobs.Handover

    visit = factory.SubFactory(VisitFactory)
    author = factory.SubFactory(UserFactory)
    noted_at = NOON
    are_straps_slack = False
    are_jacks_in = True
    is_blocked = True
    text = "pass 3 is done"


class PhotoUploadFactory(DjangoModelFactory[jobs.PhotoUpload]):
    class Meta:
        model = jobs.PhotoUpload

    siting = factory.SubFactory(SitingFactory)
    size_bytes = 9
    sha256 = "0" * 64
    author = factory.SubFactory(UserFactory)
    noted_at = NOON


class DueFactory(DjangoModelFactory[calcs.Due]):
    class Meta:
        model = calcs.Due

    siting = factory.SubFactory(SitingFactory)
    basis = calcs.Due.Basis.CALENDAR
    standing = calcs.Due.Standing.WITHIN
    due_on = datetime.date(2026, 9, 1)
    as_of = datetime.date(2026, 3, 3)


class SurveyFactory(DjangoModelFactory[surveys.Survey]):
    class Meta:
        model = surveys.Survey

    siting = factory.SubFactory(SitingFactory)
    stage = surveys.Survey.Stage.AS_FOUND
    method = surveys.Method.WATER_LEVEL
    started_at = NOON


class SetupFactory(DjangoModelFactory[surveys.Setup]):
    class Meta:
        model = surveys.Setup

    survey = factory.SubFactory(SurveyFactory)
    code = factory.Sequence(lambda n: f"S{n}")
    sense = surveys.Setup.Sense.UP


def make_reading(
    *, setup: surveys.Setup, point: jobs.Point, value_in: Decimal | float | str | None = "10", **fields: Any
) -> surveys.Reading:
    """Store one reading as if it had come in over the API; ``value_in`` None withdraws."""
    value = None if value_in is None else Decimal(str(value_in))
    fields.setdefault("typed", "" if value is None else f"{value.normalize():f}")
    fields.setdefault("author", setup.survey.author or UserFactory())
    row = surveys.Reading(
        survey_id=setup.survey_id, setup=setup, point=point, unit=setup.survey.unit, value_in=value, **fields
    )
    row.digest = hashlib.sha256(f"{row.pk} {row.typed}".encode()).digest()
    row.save(force_insert=True)
    return row


# A home of two sections with two beams each, three supports a beam; A1 is the corner at the marked end, left.
_BEAM_Y_FT = {"A": Decimal(3), "B": Decimal(11), "C": Decimal(17), "D": Decimal(25)}
_STATION_FT = (Decimal(2), Decimal(12), Decimal(22))


def lay_out_home(siting: jobs.Siting | None = None, *, stations_ft: tuple[Decimal, ...] = _STATION_FT) -> jobs.Siting:
    """Put twelve supports (A1 to D3) with pairs, three benchmarks, a drain and two straps under a siting.

    Other ``stations_ft`` along the beams make more supports, or fewer.
    """
    siting = siting or SitingFactory()
    stations = range(1, len(stations_ft) + 1)
    point = {
        f"{beam}{n}": _frame_point(siting, f"{beam}{n}", stations_ft[n - 1], len(stations_ft) * row + n - 1)
        for row, beam in enumerate(_BEAM_Y_FT)
        for n in stations
    }
    corners = [f"{beam}{n}" for beam in "AD" for n in (1, len(stations_ft))]
    for label, place in point.items():
        SupportFactory(
            point=place,
            stack=["shims", "plate_2x", "cap", "block", "block"],
            height_in=Decimal("21.5"),
            is_corner=label in corners,
        )
    along = [(f"{beam}{n}", f"{beam}{n + 1}", "along") for beam in _BEAM_Y_FT for n in stations[:-1]]
    across = [(f"{left}{n}", f"{right}{n}", "across") for left, right in ("AB", "BC", "CD") for n in stations]
    for a, b, direction in along + across:
        NeighbourPairFactory(siting=siting, a=point[a], b=point[b], direction=direction)
    for n, (x_ft, y_ft) in enumerate([(-20, -20), (50, -20), (12, 60)], start=1):
        mark = PointFactory(
            siting=siting, label=f"BM{n}", surface=jobs.Surface.OUTSIDE, x_ft=x_ft, y_ft=y_ft, walk_order=100 + n
        )
        BenchmarkFactory(point=mark)
    ConnectionFactory(
        siting=siting, code="DR1", measured="tape", free_up_in=Decimal("0.5"), free_down_in=1, free_min=Decimal(35)
    )
    StrapFactory(point=point["A1"], code="T1")
    StrapFactory(point=point["D3"], code="T2", slack_in=Decimal("0.5"))
    return siting


def _frame_point(siting: jobs.Siting, label: str, x_ft: Decimal, order: int) -> jobs.Point:
    return PointFactory(
        siting=siting,
        label=label,
        beam=label[0],
        x_ft=x_ft,
        y_ft=_BEAM_Y_FT[label[0]],
        walk_order=order,
    )


def read_home(survey: surveys.Survey, heights_in: Mapping[str, float] | None = None) -> list[surveys.Reading]:
    """Read every standing point twice, a round from each of two setups, with reference and closing shots on BM1.

    ``heights_in`` holds heights by label, 0 where not named; the setups stand 10 in and 12 in below zero.
    """
    heights = heights_in or {}
    points = list(survey.siting.points.standing())
    reference = next(point for point in points if point.label == "BM1")
    readings: list[surveys.Reading] = []
    for number, line_in in enumerate((-10.0, -12.0), start=1):
        setup = SetupFactory(survey=survey, code=f"S{number}", sense_trial="grew")
        shots = [(reference, "reference"), *((point, "point") for point in points if point != reference)]
        for point, shot in [*shots, (reference, "closing")]:
            value_in = heights.get(point.label, 0.0) - line_in
            readings.append(
                make_reading(
                    setup=setup,
                    point=point,
                    value_in=value_in,
                    shot=shot,
                    round=number,
                    sequence=len(readings),
                    taken_at=survey.started_at + datetime.timedelta(minutes=len(readings)),
                )
            )
    return readings
