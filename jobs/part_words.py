"""What people call the parts of a stack, and its courses from the top down."""

from collections.abc import Iterable
from itertools import groupby

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

TIMES = "\N{MULTIPLICATION SIGN}"
PART_WORDS: dict[str, Promise] = {
    "block": _("block"),
    "cap": _("4 in cap"),
    "cap_2in": _("2 in cap"),
    "plate_2x": _("2-by plate"),
    "plate_1x": _("1-by plate"),
    "shims": _("pair of shims"),
}


def part_words(code: str) -> str:
    """What people call a part."""
    return str(PART_WORDS.get(code, code))


def courses_words(courses: Iterable[str]) -> str:
    """Say courses, equal ones together and how often: pair of shims, 4 in cap, block x 2."""
    runs = ((code, len(list(run))) for code, run in groupby(courses))
    return ", ".join(
        part_words(code) if count == 1 else f"{part_words(code)} {TIMES} {count}" for code, count in runs
    )
