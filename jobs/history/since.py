"""What was changed in one row since somebody read it."""

from collections.abc import Sequence

from jobs.history.read import happened_since
from jobs.history.tables import table_of, tables_under
from jobs.history.telling import in_words
from jobs.history.types import Happened, Meanwhile
from jobs.models import Benchmark, LengthUnit, Point, Visit
from jobs.models.base import Versioned


def changes_since(row: Versioned, edition: int, *, unit: str = LengthUnit.INCHES) -> list[Meanwhile]:
    """Return who changed which field of a row, from what to what, since somebody read that edition of it."""
    return [
        Meanwhile(at=one.at, who=who, field=each.field, label=each.label, before=each.before, after=each.after)
        for one, who, change in in_words(_events(row, edition), unit)
        for each in change.fields
    ]


def _events(row: Versioned, edition: int) -> Sequence[Happened]:
    match row:
        case Benchmark():
            return _of_benchmark(row, edition)
        case Visit():
            return _of_visit(row, edition)
    return happened_since([table_of(type(row))], row.pk, version__gt=edition)


def _of_benchmark(mark: Benchmark, edition: int) -> list[Happened]:
    """A mark and its point count as one: walk back from now while the two together are past the edition."""
    events = happened_since([table_of(Benchmark), table_of(Point, "pgh_obj__benchmark")], mark.pk)
    now = {Benchmark: mark.version, Point: mark.point.version}
    late: list[Happened] = []
    for one in reversed(events):
        if one.label == "insert":  # nobody reads what is not there yet
            continue
        model = Benchmark if one.table.model is Benchmark else Point
        now[model] = one.edition
        if now[Benchmark] + now[Point] - 1 <= edition:
            break
        late.insert(0, one)
        now[model] -= 1
    return late


def _of_visit(visit: Visit, edition: int) -> list[Happened]:
    """Who is on a visit is kept in rows without a version: those since the edition was written count."""
    own, *crew = tables_under(Visit)
    known = own.events.objects.filter(pgh_obj_id=visit.pk, version__lte=edition).order_by("-pgh_id")
    written_at = known.values_list("pgh_created_at", flat=True).first()
    events = happened_since([own], visit.pk, version__gt=edition)
    if written_at is not None:
        events += happened_since(crew, visit.pk, pgh_created_at__gt=written_at)
    return sorted(events, key=lambda one: one.at)
