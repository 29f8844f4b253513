"""The drawing on the operator's page: calculations hour by hour, as bars with their numbers."""

from collections.abc import Sequence

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from calcs.operations import Hour
from jobs.sheet import Box, Sheet

_STEP_PX, _BAR_PX = 36.0, 22.0  # from hour to hour; of that the bar
_TALLEST_PX = 120.0
_ROW_PX, _LONGEST_PX = 24.0, 220.0  # turned: one row an hour


def draw_hours(hours: Sequence[Hour], *, is_turned: bool = False) -> str:
    """Draw the hours side by side, or turned for a narrow screen: one below the other, the newest first."""
    sheet = Sheet(_("Calculations by hour"), describe(hours))
    most = max((hour.done + hour.failed for hour in hours), default=0) or 1
    if is_turned:
        for row, hour in enumerate(reversed(hours)):
            _draw_row(sheet, row, hour, _LONGEST_PX / most)
        return sheet.render(Box(0, 0, 340, _ROW_PX * len(hours) + 8), "bars")
    for column, hour in enumerate(hours):
        _draw_column(sheet, column, hour, _TALLEST_PX / most)
    width = _STEP_PX * len(hours)
    sheet.line((0, 0), (width, 0), "ground")
    return sheet.render(Box(0, -_TALLEST_PX - 40, width, 24), "bars")


def describe(hours: Sequence[Hour]) -> str:
    """Say in words what the bars show."""
    done, failed = sum(hour.done for hour in hours), sum(hour.failed for hour in hours)
    busiest = max(hours, key=lambda hour: hour.done + hour.failed, default=None)
    words = ngettext("{done} done in {count} hour", "{done} done in {count} hours", len(hours))
    parts = [words.format(done=done, count=len(hours)), _("{failed} failed").format(failed=failed)]
    if busiest and busiest.done + busiest.failed:
        parts.append(_("most in the hour from {hour}").format(hour=_clock(busiest)))
    return ", ".join(parts)


def _draw_column(sheet: Sheet, column: int, hour: Hour, px_each: float) -> None:
    left = _STEP_PX * column + (_STEP_PX - _BAR_PX) / 2
    middle, top = left + _BAR_PX / 2, -hour.done * px_each
    if hour.done:
        sheet.rectangle(Box(left, top, left + _BAR_PX, 0), "solid", fill="black")
    if hour.failed:
        higher = top - hour.failed * px_each
        sheet.rectangle(Box(left, higher, left + _BAR_PX, top), "failed", width=2)
        sheet.text(middle, higher - 20, f"{hour.failed}", "failed", anchor="middle")
        top = higher
    if hour.done or hour.failed:
        sheet.text(middle, top - 6, f"{hour.done}", "figure", anchor="middle")
    sheet.text(middle, 18, _clock(hour), "feet", anchor="middle", size_px=12)


def _draw_row(sheet: Sheet, row: int, hour: Hour, px_each: float) -> None:
    top, left = _ROW_PX * row + 4, 32.0
    baseline, end = top + 13, left + hour.done * px_each
    sheet.text(24, baseline, _clock(hour), "feet", anchor="end")
    if hour.done:
        sheet.rectangle(Box(left, top, end, top + 16), "solid", fill="black")
    if hour.failed:
        further = end + hour.failed * px_each
        sheet.rectangle(Box(end, top, further, top + 16), "failed", width=2)
        end = further
    if hour.done or hour.failed:
        failed = ", " + _("{failed} failed").format(failed=hour.failed) if hour.failed else ""
        sheet.text(end + 6, baseline, f"{hour.done}{failed}", "figure")
    else:
        sheet.line((left, top), (left, top + 16), "ground")


def _clock(hour: Hour) -> str:
    return f"{timezone.localtime(hour.hour):%H}"
