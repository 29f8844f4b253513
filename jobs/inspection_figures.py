"""Figures that are measured at an inspection: which a finding may bring, and how they come into the record."""

from collections.abc import Mapping

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from jobs.csv_files.values import NotAllowed, column_of
from jobs.errors import DomainError
from jobs.history.words import field_word, value_words
from jobs.models import Connection, Finding, Support
from jobs.refusals import refusal_of

OF_SUPPORT = (
    *("gap_in", "height_in", "has_sunk", "offset_in", "clearance_in"),
    *("footing", "footing_length_in", "footing_width_in", "footing_thickness_in", "tier", "stack"),
)
OF_CONNECTION = ("free_up_in", "free_down_in", "measured")
TRAVELS = ("free_up_in", "free_down_in")

Measured = Support | Connection
Figures = Mapping[str, str]


def names_for(finding: Finding) -> tuple[type[Measured], tuple[str, ...]] | None:
    """Return what of a finding's subject can be measured, and the table that it goes into; None: nothing can."""
    if finding.point_id:
        return Support, OF_SUPPORT
    return (Connection, OF_CONNECTION) if finding.connection_id else None


def measured_row(finding: Finding) -> Measured | None:
    """Return the support that stands at a finding's point, or its connection, locked."""
    if finding.point_id:
        standing = Support.objects.standing().filter(point=finding.point_id)
        return standing.select_for_update(no_key=True, of=("self",)).first()
    if finding.connection_id is None:
        return None
    rows = Connection.objects.filter(pk=finding.connection_id)
    return rows.select_for_update(no_key=True).first()


def read_figures(finding: Finding) -> dict[str, str]:
    """Return a finding's figures, each written in one way.

    Raises
    ------
    DomainError
        At ``figures``, or at ``figures.NAME``: for a figure that nothing takes there, or that can't be read.
    """
    if not finding.figures:
        return {}
    known = names_for(finding)
    if known is None:
        raise wrong_figures({"": _("Only a support or a connection takes figures.")})
    model, names = known
    read: dict[str, str] = {}
    wrong: dict[str, str] = {}
    for name, typed in finding.figures.items():
        if name not in names:
            wrong[name] = _("There is no such figure; give some of: {names}.").format(names=", ".join(names))
            continue
        try:
            column = column_of(model, name)
            read[name] = column.write(column.read(str(typed)))
        except NotAllowed as refused:
            wrong[name] = str(refused)
    if wrong:
        raise wrong_figures(wrong)
    return read


def wrong_figures(sentences: Mapping[str, str]) -> DomainError:
    """Return the error that tells what is wrong with figures, by name; an empty name is all of them."""
    fields = {f"figures.{name}" if name else "figures": sentence for name, sentence in sentences.items()}
    return DomainError("invalid", _("Some fields need another look."), fields=fields)


def write_figures(row: Measured, figures: Figures) -> None:
    """Put figures into the record, over the version that ``row`` was read in.

    Raises
    ------
    DomainError
        At ``figures.NAME``, when the database refuses them beside what is recorded.
    """
    values = {name: column_of(type(row), name).read(text) for name, text in figures.items()}
    if values.get("measured") == Connection.Measured.NOT:
        values |= dict.fromkeys(TRAVELS)
    for name, value in values.items():
        setattr(row, name, value)
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError as error:
        refused = refusal_of(error)
        if refused is None:
            raise
        _code, field, sentence = refused
        raise wrong_figures({field: sentence}) from None


def check_figures(row: Measured | None, figures: Figures) -> None:
    """Refuse figures that could not be recorded as things stand; nothing is written.

    Raises
    ------
    DomainError
        As ``write_figures`` does, and where there is nothing that they could be of.
    """
    if row is None:
        raise wrong_figures({"": _("No support stands at this point.")})
    with transaction.atomic():
        write_figures(row, figures)
        transaction.set_rollback(True)


def differs(row: Measured, figures: Figures) -> bool:
    """Tell whether figures say something else than the record."""
    written = {name: column_of(type(row), name).write(getattr(row, name)) for name in figures}
    return written != dict(figures)


def told_figures(model: type[Measured], figures: Figures, unit: str) -> str:
    """Say figures in words: gap at the wedge 3/8 in, has sunk."""
    pieces = []
    for name in (name for name in (*OF_SUPPORT, *OF_CONNECTION) if name in figures):
        value, word = column_of(model, name).read(figures[name]), field_word(model, name)
        words = value_words(model._meta.get_field(name), value, {}, unit)
        pieces.append(word if value is True else f"{word} {words}")
    return ", ".join(pieces)
