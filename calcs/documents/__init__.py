"""Papers as PDF: a template and what stands on it, typeset to the same bytes wherever and whenever that is done.

Each ``NAME.typ`` beside this file says at its top what it is given. Words come translated with the rest: a template
holds none. Text is data there and never markup, so nothing that somebody typed is ever obeyed.
"""

import json
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

import typst

HERE = Path(__file__).resolve().parent
_FONTS = typst.Fonts(include_system_fonts=False)  # those of the library: every machine has the same


def typeset(name: str, data: Mapping[str, Any], language: str) -> bytes:
    """Typeset a paper on letter paper.

    Parameters
    ----------
    name : str
        Of its template, without ``.typ``.
    data : mapping
        What JSON can hold. Each paper has a ``title`` and a ``date`` (``2026-11-30``), which are the file's own too:
        no clock is looked at. A picture is an SVG text.
    language : str
        ``en`` or ``es``, for hyphens and for whoever has the paper read aloud.
    """
    inputs = {"data": json.dumps({**data, "date": _date_parts(data["date"]), "language": language})}
    return typst.compile(
        HERE / f"{name}.typ",
        root=HERE,
        font_paths=_FONTS,
        ignore_system_fonts=True,
        sys_inputs=inputs,
        timestamp=0,  # for what the template does not date itself
    )


def _date_parts(written: str) -> dict[str, int]:
    day = date.fromisoformat(written)
    return {"year": day.year, "month": day.month, "day": day.day}
