"""What is built at each support: drawn from the top down, with what comes off and what goes on."""

from django.utils.translation import gettext as _

from calcs.documents.blocks import Block, Card, Cards, Picture, Prose, Section
from calcs.drawings import draw_level_map
from calcs.sheet_page.known import Known
from calcs.stack_drawings import draw_stack
from calcs.survey_page import checks, maps, plans
from jobs.models import Condition


def supports_section(known: Known) -> Section:
    """Return a card for each support that is touched, in the order of the walk."""
    record = known.record
    stacks = checks.stack_views(record, known.checks.get("stacks"), dict(plans.moves_of(known.option)))
    cards = tuple(_card(known, row, stacks.get(row.code)) for row in plans.move_rows(record, known.option))
    block: Block = Cards(cards=cards) if cards else Prose(words=_("No support needs touching."))
    return Section(key="supports", title=_("Supports, in the order of the walk"), blocks=(block,))


def _card(known: Known, row: plans.MoveRow, stack: checks.StackView | None) -> Card:
    support = known.record.supports.get(row.code)
    found = checks.found_words(support)
    lines = [_("As found: {found}").format(found=found)] if found else []
    if row.gap:
        lines.append(f"{row.label} {row.gap}")
    if stack is None:
        lines.append(_("The height of this support is not recorded: measure footing to beam before loading parts."))
    is_reused = support is None or support.condition not in (Condition.FIX, Condition.STOP)
    return Card(
        title=f"{row.label}: {row.what}",
        lines=tuple(lines),
        facts=_facts(stack, is_reused=is_reused) if stack else (),
        remarks=stack.warnings if stack else (),
        svg=draw_stack(stack.picture) if stack and stack.picture else "",
    )


def _facts(stack: checks.StackView, *, is_reused: bool) -> tuple[tuple[str, str], ...]:
    if stack.picture is None:
        return ((_("stack"), stack.words),)
    is_replaced = bool(stack.remove) and not is_reused
    off = "; ".join([stack.remove, _("don't reuse")]) if is_replaced else stack.remove
    on = ", ".join([stack.add, _("all new")]) if is_replaced and stack.add else stack.add
    change = "" if stack.remove or stack.add else _("shims only")
    rows = (
        (_("from the top"), stack.words),
        (_("take off"), off),
        (_("put on"), on),
        (_("change"), change),
        (_("built as"), stack.tier),
        (_("weighs"), stack.lb),
    )
    return tuple(row for row in rows if row[1])


def map_section(known: Known, *, date: str) -> Section | None:
    """Return the map of how far each support is from where the plan puts it; None while there are no heights."""
    drawn = maps.maps(known.record, "target", known.option, date=date)
    if not drawn:
        return None
    picture = Picture(svg=draw_level_map(drawn[0]), turned=draw_level_map(drawn[0], is_turned=True))
    title = _("How far each support is from where the plan puts it")
    return Section(key="map", title=title, blocks=(picture,))
