"""The marks outside, held against the survey before: they stand still, so what changes much there is a mistake.

A sense taken the wrong way round, or a wrong unit, turns or scales every height alike, and nothing within the survey
shows it. The marks do: they keep their heights against each other, and the home moves against them by little.
"""

from collections.abc import Iterator, Mapping
from statistics import fmean

from django.utils.translation import gettext as _

from calcs import codec
from calcs.approving.refusals import Case, Refusal, managers
from calcs.engine.levels import LevelsResult
from calcs.models import Answer
from jobs.models import Surface

Heights = Mapping[str, float]


def marks_jump(case: Case) -> Iterator[Refusal]:
    """Tell of marks, or of the home against them, that cannot have moved as much as these readings say."""
    before, now = _heights_before(case), _heights(case.record.levels)
    outside = {key for key, point in case.record.points.items() if point.surface == Surface.OUTSIDE}
    both = before.keys() & now.keys()
    marks, home = both & outside, both - outside
    if not marks:
        return
    length = case.record.length
    change = {key: now[key] - before[key] for key in both}
    apart_in = max(change[key] for key in marks) - min(change[key] for key in marks)
    if apart_in > case.rules["most_mark_jump_in"]:
        words = _("The marks {marks} moved {by} against each other since the survey before: sense or unit is wrong.")
        yield managers("marks_jump", words.format(marks=case.names(marks), by=length(apart_in)))
    elif home:
        moved_in = abs(fmean(change[key] for key in home) - fmean(change[key] for key in marks))
        if moved_in > case.rules["most_home_jump_in"]:
            words = _("The whole home moved {by} against {marks} since the survey before: sense or unit is wrong.")
            yield managers("marks_jump", words.format(marks=case.names(marks), by=length(moved_in)))


def _heights_before(case: Case) -> Heights:
    """Return the heights of the last survey of the siting that was begun before this one."""
    survey = case.plan.survey
    answers = Answer.objects.filter(kind="levels", calculation__state="done", survey__siting=survey.siting_id)
    earlier = answers.filter(survey__started_at__lt=survey.started_at).newest()
    last = earlier.select_related("calculation").order_by("-survey__started_at", "-survey").first()
    return _heights(codec.decode(last.calculation.result or {}, LevelsResult)) if last else {}


def _heights(levels: LevelsResult | None) -> Heights:
    return {height.point: height.height_in for height in levels.heights} if levels else {}
