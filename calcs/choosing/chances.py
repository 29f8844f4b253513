"""What "recommended" means beside a chance that is poor, and what to choose for a better one."""

from collections.abc import Iterable

from django.utils.translation import gettext as _

from calcs.engine.lift import LiftOption
from calcs.spoken import OPTION_WORDS
from calcs.survey_page import plans
from calcs.survey_page.record import Record

GOOD = 0.95  # judgement: above it nothing needs to be said


def chance_words(record: Record, *, is_sure_asked: bool) -> tuple[str, ...]:
    """Say it in plain sentences; nothing where the recommended plan ends within tolerance with a good chance."""
    options = {name: option for name, (_plan, option) in record.planned.items()}
    taken = options.get(record.lift.recommended or "") if record.lift else None
    if taken is None or taken.chance_within is None or taken.chance_within >= GOOD:
        return ()
    return (
        _meaning(taken.chance_within),
        *_better(taken.chance_within, options.values(), is_sure_asked=is_sure_asked),
    )


def _meaning(chance: float) -> str:
    words = _(
        "“Recommended” is the least work, or raising alone where that takes hardly more, that brings every pair "
        "within its tolerance by the heights as read. Heights are only known so closely, and wedges seat a little "
        "off: a chance of {chance} means that about {over} of 100 such lifts leave a pair beyond its tolerance, to "
        "be lifted again."
    )
    return words.format(chance=plans.chance_words(chance), over=round(100 * (1 - chance)))


def _better(chance: float, options: Iterable[LiftOption], *, is_sure_asked: bool) -> Iterable[str]:
    better = [option for option in options if (option.chance_within or 0.0) > chance]
    if better:
        surest = max(better, key=lambda option: option.chance_within or 0.0)
        words = _("The surest of these is “{option}”: {chance}, for {minutes}.")
        yield words.format(
            option=OPTION_WORDS[surest.name],
            chance=plans.chance_words(surest.chance_within),
            minutes=plans.minutes_words(surest.minutes or 0.0),
        )
    if not is_sure_asked:
        yield _("Or ask below for a plan that ends within tolerance, for the least work found.")
