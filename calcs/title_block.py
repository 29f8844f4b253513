"""The title block under a plan, as on any drawing: what it shows, the scale bar, and what each mark means."""

from collections.abc import Callable, Sequence

from django.utils.translation import gettext as _

from jobs.drawings import Frame
from jobs.sheet import Box, Place, Sheet, polyline, text_width_px

DrawMark = Callable[[Sheet, float, float], None]
Legend = Sequence[tuple[DrawMark, str]]

_LINE_PX = 16.0
_WORD_PX = 78.0  # room for the word before what it says; more where a language has longer ones


def draw_title_block(sheet: Sheet, frame: Frame, rows: Sequence[tuple[str, str]], legend: Legend) -> float:
    """Draw the title block under the plan; return where it ends.

    ``rows`` are words and what each says, ``legend`` marks and what each means.
    """
    paper = frame.paper
    left, top = paper.left + 8, paper.bottom + 8
    width = paper.right - paper.left - 16
    says_width = width if frame.is_turned else width * 0.5
    word_px = max([_WORD_PX, *(text_width_px(word, 11) + 8 for word, _says in rows)])
    y = top + _LINE_PX
    for word, says in rows:
        sheet.text(left + 8, y, word, "legend", size_px=11)
        for row in wrap(says, says_width - word_px - 16, 11):
            sheet.text(left + 8 + word_px, y, row, "says", size_px=11)
            y += _LINE_PX
    if frame.is_turned:
        sheet.line((left, y - 4), (left + width, y - 4), "block-rule")
        at, legend_width = (left + 8, y + _LINE_PX), width - 16
    else:
        at, legend_width = (left + says_width + 12, top + _LINE_PX), width - says_width - 20
    end = max(y, _draw_legend(sheet, frame, legend, at=at, width=legend_width))
    if not frame.is_turned:
        sheet.line((left + says_width, top), (left + says_width, end), "block-rule")
    sheet.rectangle(Box(left, top, left + width, end), "block-rule")
    return end + 8


def wrap(text: str, width_px: float, size_px: float) -> list[str]:
    """Break a text into lines that fit; a word that is too long stands alone."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and text_width_px(longer, size_px) > width_px:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


def _draw_legend(sheet: Sheet, frame: Frame, legend: Legend, *, at: Place, width: float) -> float:
    """Draw the scale bar and what each mark means; return where it ends."""
    x, y = at
    bar = 10 * frame.px_per_ft
    sheet.line((x, y - 4), (x + bar, y - 4), "scale", width=2)
    sheet.line((x, y - 8), (x, y), "scale")
    sheet.line((x + bar, y - 8), (x + bar, y), "scale")
    sheet.text(x + bar + 8, y, _("10 ft"), "legend", size_px=11)
    y += _LINE_PX
    for draw_mark, says in legend:
        draw_mark(sheet, x + 12, y - 4)
        for row in wrap(says, width - 34, 11):
            sheet.text(x + 32, y, row, "legend", size_px=11)
            y += _LINE_PX
    return y


def draw_benchmark_mark(sheet: Sheet, x: float, y: float) -> None:
    """Draw the survey mark of a legend."""
    sheet.path(polyline([(x, y - 6), (x + 6, y + 5), (x - 6, y + 5)], is_closed=True), "benchmark")
