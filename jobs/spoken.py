"""Sentences that were made in English, said again in the reader's language, with the numbers and names in them.

The engine knows no languages, and what became of a phone's entry is kept for readers of any. What such a sentence is
made from stands here as a template, word for word; a test holds those of the engine against its source.
"""

import functools
import re
from collections.abc import Callable, Iterable, Mapping

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

# What the engine says of a length that is none, and what it says may be written instead, with a semicolon between.
LENGTHS = (
    _("longer than {count} characters"),
    _("empty"),
    _("{typed} has a comma; the decimal sign is a point"),
    _("{typed} is more than {most} in"),
    _("{typed} is not a length"),
    _("{typed} is not in {unit}"),
    _("{typed} has a fraction"),
    _("{typed} has inches after a decimal of feet"),
    _("{typed} has {count} or more inches beside its feet"),
    _("{typed}: below the line may stand {many} or {last}, not {bottom}"),
    _("{typed} has a fraction of one or more; write the whole number before it"),
)
EXAMPLES = (
    _('write inches such as 3 5/8, 3-5/8", -1/2, 2\' 3 1/4" or 3.625'),
    _("write feet such as 28, 28.5, 28 1/2 or 28' 6\""),
    _("write millimetres such as 92, -12.5 or 92 mm"),
)
# Why the engine takes an input for wrong.
INPUTS = (
    _("must be above {above} and at most {most}, not {value}"),
    _("must be from {least} to {most}, not {value}"),
    _("must be {least} to {most}, got {value}"),
    _("must be above 0, not {value}"),
    _("must be at least 0.5 and below 1, not {value}"),
    _("must be at least {least}: the hook can't go below the anchor head"),
    _("must be 0 (held) or above, not {value}"),
    _("must be 0 or null while slack_in is above 0"),
    _("must be above 0 where rise_in is 0: the strap has no length"),
    _("must leave the strap some length"),
    _("must be one of up, down, not {value}"),
    _("must be one of {names}, not {value}"),
    _("must be a finite number"),
    _("must be a name, not empty text"),
    _("must be an instant with its zone, such as 2026-05-04T09:30:00-05:00, not {value}"),
    _("must be from 1 to 6 for solid masonry"),
    _("must be null for hollow block: the height decides"),
    _("must hold exactly one part of the role hollow"),
    _("must hold at least one part of the role {role}"),
    _("must have {count} rows of {columns}, one for each point"),
    _("must have {count} heights, one for each point"),
    _("must name each point once"),
    _("must have at least {least} points in common with the first survey, not {count}"),
    _("must be a number where dof is above 0"),
    _("must be at most {most} days, not {count}"),
    _("must not be after as_of_days, {today}, but is {value}"),
    _("day {day} is given twice"),
    _("must be one for each rate"),
    _("{name} is not a point of reference"),
    _("leaves the changes of {a} and {b} against each other without uncertainty"),
    _("must hold at least {least} points that were read before and are read again, not {count}"),
    _(
        "must hold points that have stood still: {point} stands {off} in from where it stood, "
        "more than noise explains"
    ),
    _("must be a number up to {most} either way"),
    _("must be 1 to {most} supports, not {count}"),
    _("must be 1 to {most} lengths, not {count}"),
    _("must be at most {most} steps of {step} in, not {value} in"),
    _("must name at least one support, with its weight"),
    _("must name at least one support"),
    _("needs the frame that the loads are of"),
    _("must name at least one of {names}"),
    _("{name} is already the name of {place}"),
    _("{a} is paired with itself; a pair needs two points"),
    _("{a} and {b} are already paired in {place}"),
    _("a support is no neighbour of itself; {a} is a and b"),
    _("{a} and {b} are already {place}; a pair may be given once"),
    _("{name} is not the code of a support"),
    _("{name} is named twice"),
    _("{name} is asked for twice"),
    _("within_budget needs the minutes that may be used, 0 or more"),
    _("sure needs the covariance of the heights, covariance_in2"),
    _("shims are always there; give their weight in rules.shims_lb"),
    _("can be combined in too many ways; give fewer parts"),
    _("unknown part {name}; allowed: {names}"),
    _("unknown point {name}"),
    _("unknown setup {name}; setups: {names}"),
    _("differs from the number across the diagonal"),
    _("gives a negative variance"),
    _("no points; at least one is needed"),
    _("no readings; at least one is needed"),
    _("setup {name} has no readings"),
    _("point {name} is never read; a datum must be a point of some reading"),
    _(
        "without a datum the readings must hang together, but they fall into {count} parts: {parts}; "
        "read a point of one from a setup of the other"
    ),
    _("no datum reaches {part}; give one there or read a common point"),
    _("missing; setup {name} drifts, so each of its readings needs its instant"),
    _("the standard deviations are too far apart to find the line of setup {name}"),
    _(
        "the readings don't determine the drift of setup {name}: "
        "read a point twice, some time apart, or set drift to false"
    ),
    _("this would be {count} supports; a layout has at most {most}"),
    _("there is no support to take weights from"),
    _("a pier-and-beam house has one section"),
    _("a home of one section has no mate line"),
    _("the end supports would pass each other"),
    _("the beams would lie outside the home"),
    _("two lines of supports would be less than {least} in apart"),
    _("must be at least two nodes, upper end first, not {count}"),
    _("must grow downstream, by at least {least} from {before}, not be {value}"),
    _("{name} is no support of moves; give its move there, 0 if none"),
    _("must be 1 to {most} beams, not {count}"),
    _("must hold 1 to {most} supports in all, not {count}"),
    _("must cross beams at most {most} times in all, not {count}"),
    _("must name 2 or more beams, not {count}"),
    _("must be at least {least} ft beyond from_ft ({start}), not {value}"),
    _("must be on beam {name}, from {start} to {end}, not {value}"),
    _("must be at least {least} ft from {name}, not {value} ft"),
    _("{name} lies at y_ft {value}, under {least} ft from {other}"),
    _("{name} is not the code of a beam"),
    _("{name} is not the code of a reading"),
    _("must be another reading than the first"),
    _("{name} is not the code of a line"),
    _("must have {count} rows of {columns}, one for each support"),
    _("must be the same on both sides of its diagonal"),
    _("nothing holds beam {name}: its supports and members can't carry its load"),
    _("the frame would tip: no pushes above zero at all supports balance its load"),
    _("the supports that are left can't hold the frame"),
    _("must be empty except on a line of the place mate_line"),
    _("must be given for a pluck"),
    _("must be given for a gauge"),
    _("must be null for a pluck: the pitch tells it"),
    _("must be above 0 where the other one is 0: nothing is read exactly"),
    _("must let the work end within {count} passes; the limits leave {least} in a step"),
)
PART = _("setups {setups} with points {points}")
# Why an entry of a phone was set aside, where names or numbers are in it; sentences without any are in the catalogue.
REFUSALS = (
    _("This needs one of the roles: {roles}."),
    _("There is no such person: {author}."),
    _("To settle, replace the reading that holds now: {reading}."),
    _("Give a length of at most {count} characters."),
    _("Give a length of at most {most} characters."),
    _("Give one of: {kinds}."),
    _("Course %(number)d from the top, “%(course)s”, is unknown; allowed: %(known)s."),
    _("There is no such item; give one of: {items}."),
    _("There is no such figure; give some of: {names}."),
    _("“%(cell)s” can't be read: give %(allowed)s."),
    _("This setup drifts and is read from {device} alone: start a setup of your own, and send the reading with it."),
)
# The frameworks' own, which their own catalogues have in Spanish.
FRAMEWORK = (
    '"{input}" is not a valid choice.',
    "Date has wrong format. Use one of these formats instead: {format}.",
    "Datetime has wrong format. Use one of these formats instead: {format}.",
    "Ensure that there are no more than {max_decimal_places} decimal places.",
    "Ensure that there are no more than {max_digits} digits in total.",
    "Ensure that there are no more than {max_whole_digits} digits before the decimal point.",
    "Ensure this field has no more than {max_length} characters.",
    "Ensure this field has no more than {max_length} elements.",
    "Ensure this value is greater than or equal to {min_value}.",
    "Ensure this value is less than or equal to {max_value}.",
    'Expected a dictionary of items but got type "{input_type}".',
    'Expected a list of items but got type "{input_type}".',
    "Incorrect type. Expected pk value, received {data_type}.",
    'Invalid pk "{pk_value}" - object does not exist.',
    "“%(value)s” is not a valid UUID.",
)
AND_MORE = _("{names} and {count} more")

Pattern = tuple[str, re.Pattern[str]]

_BLANK = re.compile(r"\{(\w+)\}|%\((\w+)\)[sd]")
_ESCAPED_BLANK = re.compile(r"\\\{(\w+)\\\}|%\\\((\w+)\\\)[sd]")
_MORE = re.compile(r"(?P<names>.+) and (?P<count>\d+) more", re.DOTALL)
_PART = re.compile(r"setups (?P<setups>.+?) with points (?P<points>.+?)", re.DOTALL)
_ONE_OF_MANY = re.compile(r"(?<=[.?!]) (?=[A-Z])")  # errors of one field stand in one text


def patterns_of(templates: Iterable[str]) -> tuple[Pattern, ...]:
    """Return templates with what finds them in English, those with the most words of their own first."""
    by_words = sorted(templates, key=lambda template: -len(_BLANK.sub("", template)))
    return tuple(
        (
            template,
            re.compile(_ESCAPED_BLANK.sub(lambda b: f"(?P<{b[1] or b[2]}>.*?)", re.escape(template)), re.DOTALL),
        )
        for template in by_words
    )


def said_by(patterns: Iterable[Pattern], sentence: str, filled: Callable[[str, str], str]) -> str | None:
    """Return a sentence in the language that is active by the template that made it; None where none did.

    ``filled`` gives the words for what stands in a blank.
    """
    for template, pattern in patterns:
        if found := pattern.fullmatch(sentence):
            return _filled_in(
                gettext(template), {name: filled(name, value) for name, value in found.groupdict().items()}
            )
    return None


def _filled_in(template: str, words: Mapping[str, str]) -> str:
    return _BLANK.sub(lambda blank: words[blank[1] or blank[2]], template)


def retold(text: str) -> str:
    """Return sentences of the engine or of a refusal in the language that is active; what isn't known as it is."""
    pieces = _ONE_OF_MANY.split(text)
    for end in range(1, len(pieces) + 1):  # one template may be two sentences
        if said := _said(" ".join(pieces[:end])):
            break
    else:
        end, said = 1, pieces[0]
    return f"{said} {retold(' '.join(pieces[end:]))}" if pieces[end:] else said


def _said(text: str) -> str | None:
    if text and (whole := gettext(text)) != text:  # nothing stands for the catalogue's head
        return whole
    return _length_told(text) or said_by(_known(), text, filled)


def filled(name: str, value: str) -> str:
    """Return what stands in a blank, in words where it is neither a number nor somebody's name."""
    if name == "roles":
        return ", ".join(gettext(role) for role in value.split(", "))
    if name == "allowed":
        return gettext(value)
    if name == "parts":
        return "; ".join(filled("part", part) for part in value.split("; "))
    if name == "part" and (part := _PART.fullmatch(value)):
        return gettext(PART).format(**{end: filled("names", names) for end, names in part.groupdict().items()})
    if more := _MORE.fullmatch(value):
        return gettext(AND_MORE).format(**more.groupdict())
    return value


def _length_told(text: str) -> str | None:
    for example in EXAMPLES:
        what = text.removesuffix(f"; {example}")
        if what != text:
            told = gettext(what) if what in LENGTHS else said_by(_of_lengths(), what, filled)
            return told and f"{told}; {gettext(example)}"
    return None


@functools.cache
def _known() -> tuple[Pattern, ...]:
    return patterns_of((*INPUTS, *REFUSALS, *FRAMEWORK))


@functools.cache
def _of_lengths() -> tuple[Pattern, ...]:
    return patterns_of(LENGTHS)
