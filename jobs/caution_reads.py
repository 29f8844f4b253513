"""Who has read which caution at a visit: noted one by one on phones, or for a whole moment on a page."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.conf import settings
from django.db import IntegrityError
from django.utils import timezone
from django.utils.translation import gettext as _

from jobs.cautions import CAUTIONS, Moment, Told, shown_at, told
from jobs.errors import DomainError
from jobs.field_work import keep_once
from jobs.models import CautionRead, User, Visit

LANGUAGES = tuple(code for code, _name in settings.LANGUAGES)
NAME_AT_MOST = 80
_CONTENT = ("visit", "code", "moment", "text_sha256", "reader_name")


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A caution at a moment of a visit, and who has read it as it reads now, in whichever language."""

    told: Told
    read_by: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class AtMoment:
    """The cautions of one moment. ``read_by``: who has read all of them."""

    moment: Moment
    cautions: tuple[Shown, ...]
    read_by: tuple[str, ...]


def cautions_by_moment(reads: Iterable[CautionRead], *, language: str) -> tuple[AtMoment, ...]:
    """Return the cautions in the order of a day's work; ``reads`` are those of one visit."""
    now = {(code, told(code, each).text_sha256) for code in CAUTIONS for each in LANGUAGES}
    names: dict[tuple[str, str], dict[str, None]] = {}
    for read in sorted(reads, key=lambda read: (read.noted_at, read.pk)):
        if (read.code, read.text_sha256) in now:
            names.setdefault((read.moment, read.code), {})[read.reader_name] = None
    return tuple(_at(moment, language, names) for moment in Moment)


def _at(moment: Moment, language: str, names: dict[tuple[str, str], dict[str, None]]) -> AtMoment:
    cautions = tuple(
        Shown(told=told(caution.code, language), read_by=tuple(names.get((moment, caution.code), ())))
        for caution in shown_at(moment)
    )
    first, *others = cautions
    everything = tuple(name for name in first.read_by if all(name in each.read_by for each in others))
    return AtMoment(moment=moment, cautions=cautions, read_by=everything)


def note_read(read: CautionRead) -> bool:
    """Keep that somebody has read a caution; tell whether it is new.

    The same person at the same visit reads the same text once: a second entry ends in the row that is there, whose
    key ``read`` has then.

    Raises
    ------
    DomainError
        When there is no such caution at that moment, nobody is named, or the key is stored with other content.
    """
    _check_caution(read)
    read.reader_name = _name(read.reader_name)
    try:
        return _kept(read)
    except IntegrityError:
        if not _is_known(read):  # it may have come in from two phones at once
            raise
        return False


def _kept(read: CautionRead) -> bool:
    if not CautionRead.objects.filter(pk=read.pk).exists() and _is_known(read):
        return False
    return keep_once(read, compared=(*_CONTENT, "language", "author"))


def _is_known(read: CautionRead) -> bool:
    key = CautionRead.objects.filter(**{name: getattr(read, name) for name in _CONTENT}).values_list("pk").first()
    if key is not None:
        (read.pk,) = key
    return key is not None


def _check_caution(read: CautionRead) -> None:
    caution = CAUTIONS.get(read.code)
    if caution is None:
        problem = {"code": _("There is no such caution.")}
    elif read.moment not in caution.moments:
        problem = {"moment": _("This caution is not shown at that moment.")}
    else:
        return
    raise DomainError("invalid", _("Some fields need another look."), fields=problem)


def _name(typed: str) -> str:
    """Return a name without the spaces around and twice within it."""
    name = " ".join(typed.split())
    if not 0 < len(name) <= NAME_AT_MOST:
        sentence = _("Say who has read it, in at most {count} characters.").format(count=NAME_AT_MOST)
        raise DomainError("invalid", sentence, fields={"reader_name": sentence})
    return name


def read_moment(*, visit: Visit, moment: Moment, reader_name: str, language: str, author: User) -> None:
    """Note that somebody has read all cautions of a moment; what was read before stays as it is.

    Raises
    ------
    DomainError
        When nobody is named.
    """
    name, now = _name(reader_name), timezone.now()
    CautionRead.objects.bulk_create(
        [
            CautionRead(
                visit=visit,
                code=caution.code,
                moment=moment,
                reader_name=name,
                language=language,
                text_sha256=told(caution.code, language).text_sha256,
                author=author,
                noted_at=now,
            )
            for caution in shown_at(moment)
        ],
        ignore_conflicts=True,
    )
