"""The lift options side by side, what stands in the way of the others, and one option support by support."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from calcs.engine.lift import LiftBinding, LiftImpossible, LiftMove, LiftOption, LiftWhy
from calcs.models import Plan
from calcs.spoken import OPTION_WORDS
from calcs.survey_page.findings import EPSILON, doubtful_points
from calcs.survey_page.record import Record

_WAY_WORDS: dict[int, Promise] = {
    1: gettext_lazy("It would go, with every tolerance kept, if"),
    2: gettext_lazy("It would go, with every limit kept, if"),
}
# What a limit is, where one step more of it would save work: {who} is a label, or two.
_BINDING_WORDS: dict[str, Promise] = {
    "raise_limit": gettext_lazy("how far {who} may go up"),
    "lower_limit": gettext_lazy("how far {who} may come down"),
    "tolerance": gettext_lazy("the tolerance between {who}"),
    "band": gettext_lazy("the band that all supports must end in"),
    "travel_up": gettext_lazy("how far {who} lets the home rise"),
    "travel_down": gettext_lazy("how far {who} lets the home come down"),
    "connection": gettext_lazy("{who}"),
}
_WHY_WORDS: dict[str, Promise] = {
    "raise_limit": gettext_lazy("{who} might go up {short} further"),
    "lower_limit": gettext_lazy("{who} might come down {short} further"),
    "travel_up": gettext_lazy("{who} let the home rise {short} further"),
    "travel_down": gettext_lazy("{who} let the home come down {short} further"),
    "tolerance": gettext_lazy("{who} might end {short} further apart"),
    "band": gettext_lazy("all supports might end within {short} more"),
    "budget": gettext_lazy("there were {minutes} min more"),
    "load": gettext_lazy("{who} might carry {pounds} lb less"),
    "chance": gettext_lazy("more readings raised the chance to end within tolerance by {percent} %"),
}

_SURE = 0.99


@dataclass(frozen=True, slots=True, kw_only=True)
class OptionView:
    """One option in the table of options."""

    name: str
    words: str
    minutes: str
    is_proven: bool
    bound: str
    touched: int
    raised: str
    lowered: str
    freed: tuple[str, ...]
    worst_pair: str
    chance: str
    binding: tuple[str, ...]
    is_recommended: bool
    is_chosen: bool
    is_provisional: bool
    provisional: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Impossible:
    """An option that has no plan, and the ways in which it would have one."""

    words: str
    ways: tuple[tuple[str, tuple[str, ...]], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MoveRow:
    """What happens at one support."""

    code: str
    label: str
    what: str
    gap: str  # how its support goes, where it hangs below the frame and so goes another way than the frame
    move_in: float
    reach: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ToFree:
    """A connection that must be freed before the lift, by whom, and how long that takes."""

    label: str
    by: str
    minutes: str
    note: str


def option_views(record: Record, chosen: str | None) -> tuple[OptionView, ...]:
    """Return the options that have a plan, in the order asked for."""
    return tuple(
        _option_view(record, plan, option, is_chosen=name == chosen)
        for name, (plan, option) in record.planned.items()
    )


def _option_view(record: Record, plan: Plan, option: LiftOption, *, is_chosen: bool) -> OptionView:
    is_proven = option.status == "optimal"
    pair = option.worst_pair
    return OptionView(
        name=option.name,
        words=str(OPTION_WORDS[option.name]),
        minutes=minutes_words(option.minutes or 0.0),
        is_proven=is_proven,
        bound="" if is_proven or option.bound_min is None else minutes_words(option.bound_min),
        touched=option.touched or 0,
        raised=record.figure(option.raised_max_in or 0.0),
        lowered=record.figure(option.lowered_max_in or 0.0),
        freed=tuple(str(record.connections.get(key, record.name(key))) for key in option.freed),
        worst_pair=f"{record.name(pair.a)}, {record.name(pair.b)}: {record.figure(abs(pair.difference_in))}"
        if pair
        else "",
        binding=tuple(binding_words(record, binding) for binding in option.binding),
        chance=chance_words(option.chance_within),
        is_recommended=record.lift is not None and record.lift.recommended == option.name,
        is_chosen=is_chosen,
        is_provisional=plan.is_provisional,
        provisional=_provisional_words(record, plan),
    )


def minutes_words(minutes: float) -> str:
    """Write minutes as people plan with them: 47 min, 3 h 5 min."""
    hours, rest = divmod(round(minutes), 60)
    if not hours:
        return _("{minutes} min").format(minutes=rest)
    return _("{hours} h {minutes} min").format(hours=hours, minutes=rest)


def chance_words(chance: float | None) -> str:
    """Write a chance in whole percent; from 10,000 draws the last one in a hundred is not told finer."""
    if chance is None:
        return _("not known")
    if chance > _SURE or chance < 1 - _SURE:
        words = _("over {percent} %") if chance > _SURE else _("under {percent} %")
        return words.format(percent=99 if chance > _SURE else 1)
    return _("{percent} %").format(percent=round(100 * chance))


def _provisional_words(record: Record, plan: Plan) -> str:
    if not plan.is_provisional:
        return ""
    unread = {str(point.pk) for point in record.unread}
    said = []
    if doubtful := [key for key in plan.provisional_points if key not in unread]:
        words = _("Provisional: it touches {points}, whose reading is suspect or unchecked. Read again first.")
        said.append(words.format(points=names(record, doubtful)))
    if beside := [key for key in plan.provisional_points if key in unread]:
        words = _("Provisional: beside what it moves stands {points}, which was not read. Read there first.")
        said.append(words.format(points=names(record, beside)))
    return " ".join(said)


def names(record: Record, keys: Iterable[str]) -> str:
    """Name some things in the order of their labels."""
    return ", ".join(sorted(record.name(key) for key in keys))


def _who(record: Record, keys: tuple[str, ...]) -> str:
    """Name who a limit is about: a connection by what it is, two supports as a pair."""
    return _(" and ").join(
        str(record.connections[key]) if key in record.connections else record.name(key) for key in keys
    )


def binding_words(record: Record, binding: LiftBinding) -> str:
    """Say a limit that costs work, and what more of it saves."""
    limit = str(_BINDING_WORDS[binding.kind]).format(who=_who(record, binding.who))
    saves = minutes_words(binding.saves_min) if binding.saves_min >= 0.5 else _("less than a minute")
    if binding.kind == "connection":
        return _("{limit} holds the home: free at no cost, it would save {saves}").format(limit=limit, saves=saves)
    return _("{limit}: one step more saves {saves}").format(limit=limit, saves=saves)


# -- what is impossible --------------------------------------------------------------------------------------


def impossible_views(record: Record) -> tuple[Impossible, ...]:
    """Return the options without a plan, each with both ways out in words."""
    lifts = (lift for lift in (record.lift, record.sure) if lift)
    return tuple(_impossible(record, each) for lift in lifts for each in lift.impossible)


def _impossible(record: Record, impossible: LiftImpossible) -> Impossible:
    ways: dict[int, list[str]] = {}
    for why in impossible.why:
        ways.setdefault(why.way, []).append(_why_words(record, why))
    return Impossible(
        words=str(OPTION_WORDS[impossible.option]),
        ways=tuple(
            (str(_WAY_WORDS.get(way, _("It would go if"))), tuple(parts)) for way, parts in sorted(ways.items())
        ),
    )


def _why_words(record: Record, why: LiftWhy) -> str:
    return str(_WHY_WORDS[why.kind]).format(
        who=_who(record, why.who),
        short=record.length(why.short_by_in or 0.0),
        minutes=f"{why.short_by_min or 0.0:.0f}",
        pounds=f"{why.short_by_lb or 0.0:,.0f}",
        percent=f"{100 * (why.short_by_chance or 0.0):.1f}",
    )


# -- the chosen option ---------------------------------------------------------------------------------------


def move_rows(record: Record, option: LiftOption) -> tuple[MoveRow, ...]:
    """List what happens where, in the order of the walk; supports that stay alone are left out."""
    reference = reference_point(record, option)
    touched = [move for move in option.moves if move.move_in or move.support_change_in]
    order = {key: (point.walk_order, point.label) for key, point in record.points.items()}
    touched.sort(key=lambda move: order.get(move.code, (0, "")))
    return tuple(
        MoveRow(
            code=move.code,
            label=record.name(move.code),
            what=_move_words(record, move),
            gap=_gap_words(record, move),
            move_in=move.move_in,
            reach=reach_words(record, move.to_in, reference),
        )
        for move in touched
    )


def _move_words(record: Record, move: LiftMove) -> str:
    if move.move_in > 0:
        return _("raise {by}").format(by=record.length(move.move_in))
    if move.move_in < 0:
        return _("lower {by}").format(by=record.length(-move.move_in))
    if move.support_change_in > 0:
        return _("snug: close the gap of {by}").format(by=record.length(move.support_change_in))
    return _("lower the support {by}, the frame stays").format(by=record.length(-move.support_change_in))


def _gap_words(record: Record, move: LiftMove) -> str:
    """Say how a support goes that hangs below a frame that moves; nothing where it goes with the frame."""
    gap_in = move.support_change_in - move.move_in
    if not move.move_in or abs(gap_in) < EPSILON:
        return ""
    if move.support_change_in > EPSILON:
        words = _("hangs {gap} below the frame: its support goes up by {by}, the gap first.")
    elif move.support_change_in < -EPSILON:
        words = _("hangs {gap} below the frame: its support goes down by {by} only.")
    else:
        words = _("hangs {gap} below the frame, which comes down onto it: its support stays.")
    return words.format(gap=record.length(gap_in), by=record.length(abs(move.support_change_in)))


def reference_point(record: Record, option: LiftOption) -> tuple[str, float] | None:
    """Return the name and height of what heights are told from, which an option must not move.

    That is the mark read most often, else the lowest support that stays, one of sure readings if there is any; None
    where all that was read moves.
    """
    if record.levels is None:
        return None
    heights = {height.point: height.height_in for height in record.levels.heights}
    shots: dict[str, int] = {}
    for reading in record.readings.values():
        key = str(reading.point_id)
        if key in heights and record.points[key].surface == "outside":
            shots[key] = shots.get(key, 0) + 1
    if shots:
        key = max(shots, key=lambda mark: (shots[mark], -record.points[mark].walk_order))
        return record.name(key), heights[key]
    found = doubtful_points(record)
    doubtful = found.suspect | found.unchecked
    stay = [move.code for move in option.moves if not move.move_in and move.code in heights]
    if not stay:
        return None
    key = min(stay, key=lambda point: (point in doubtful, heights[point]))
    return record.name(key), heights[key]


def reach_words(record: Record, to_in: float, reference: tuple[str, float] | None) -> str:
    """Say the height that the frame is to be read at, from a mark that does not move."""
    if reference is None:
        return ""
    name, height_in = reference
    above = to_in - height_in
    words = _("{by} above {mark}") if above >= 0 else _("{by} below {mark}")
    return words.format(by=record.length(abs(above)), mark=name)


def to_free(record: Record, option: LiftOption) -> tuple[ToFree, ...]:
    """List the connections to free before the lift, and which trade may do it."""
    cost = {link.code: link.free_min for link in record.lift_input.connections} if record.lift_input else {}
    return tuple(
        ToFree(
            label=str(connection),
            by=connection.get_trade_display(),
            minutes=minutes_words(cost.get(key) or 0.0),
            note=connection.note,
        )
        for key in option.freed
        if (connection := record.connections.get(key))
    )


def moves_of(option: LiftOption | None) -> Mapping[str, LiftMove]:
    """Return an option's moves by support."""
    return {move.code: move for move in option.moves} if option else {}


def touched_words(count: int) -> str:
    """Say how many supports are touched."""
    return ngettext("{count} support touched", "{count} supports touched", count).format(count=count)
