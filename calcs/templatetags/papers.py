"""Cells of papers on pages: written in one go, for a table may have a thousand."""

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from calcs.documents.blocks import Cell
from jobs.templatetags.lengths import fractions

register = template.Library()

_FILLS = {
    "": SafeString(),
    "box": SafeString('<span class="box" role="img" aria-label="&#9744;"></span>'),
    "line": SafeString('<span class="blank"></span>'),
}


@register.filter
def cell_words(cell: Cell) -> SafeString:
    """Write what stands in a cell: a box or a line, its words, and what is said small after them."""
    words = fractions(cell.words)
    if not (cell.fill or cell.more or cell.is_strong):
        return words
    strong = format_html("<strong>{}</strong>", words) if cell.is_strong else words
    more = format_html(" <small>{}</small>", fractions(cell.more)) if cell.more else SafeString()
    return SafeString(f"{_FILLS[cell.fill]}{strong}{more}")
