"""Cautions: what may hurt somebody at this work, where each is from, and the moments at which it is shown."""

import functools
import hashlib
import tomllib
from dataclasses import dataclass
from pathlib import Path

from django.db import models
from django.utils import translation
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _


class Moment(models.TextChoices):
    """When a caution is shown, in the order of a day's work."""

    LOADING = "loading", _("before loading")
    START = "start", _("before the start")
    BEFORE_ENTRY = "before_entry", _("before entry")
    ELECTRICAL = "electrical", _("before electrical work")
    BEFORE_DISTURBING = "before_disturbing", _("before old material is disturbed")
    SLACKENING = "slackening", _("before straps are slackened")
    BEFORE_DIGGING = "before_digging", _("before digging or driving")
    BEFORE_CUTTING = "before_cutting", _("before pipe is cut")
    BEFORE_JACKING = "before_jacking", _("before jacking")
    EACH_PASS = "each_pass", _("at each pass")
    BEFORE_LOWERING = "before_lowering", _("before lowering")
    AFTER = "after", _("after the last pass")


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """One hazard and what to do about it; ``source`` says so where there is none, or only memory."""

    code: str
    hazard: str
    text: str
    source: str
    moments: tuple[Moment, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A caution in one language. The hash is of its text in that language: other words are another text."""

    code: str
    hazard: str
    text: str
    source: str
    language: str
    text_sha256: str


def _load() -> dict[str, Caution]:
    path = Path(__file__).with_suffix(".toml")
    return {
        code: Caution(code=code, **entry | {"moments": tuple(Moment(moment) for moment in entry["moments"])})
        for code, entry in tomllib.loads(path.read_text()).items()
    }


CAUTIONS: dict[str, Caution] = _load()


def shown_at(moment: Moment) -> tuple[Caution, ...]:
    """Return the cautions of a moment."""
    return tuple(caution for caution in CAUTIONS.values() if moment in caution.moments)


@functools.cache
def told(code: str, language: str) -> Told:
    """Return a caution as somebody reads it who speaks ``language``."""
    caution = CAUTIONS[code]
    with translation.override(language):
        text = gettext(caution.text)
        return Told(
            code=code,
            hazard=gettext(caution.hazard),
            text=text,
            source=gettext(caution.source),
            language=language,
            text_sha256=hashlib.sha256(text.encode()).hexdigest(),
        )
