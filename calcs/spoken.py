"""What the engine says, in the reader's language: its own sentences, with the numbers and names in them.

The engine knows no languages. Each of its sentences stands here as a template, word for word; a test holds them
against the engine's source, so that none is forgotten.
"""

import functools

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy
from django.utils.translation import gettext_noop as _

from jobs.lengths import length
from jobs.spoken import Pattern, filled, patterns_of, retold, said_by

OPTION_WORDS: dict[str, Promise] = {
    "least_work": gettext_lazy("least work"),
    "raise_only": gettext_lazy("raise only"),
    "lower_only": gettext_lazy("lower only"),
    "flattest": gettext_lazy("flattest"),
    "within_budget": gettext_lazy("within the budget"),
    "sure": gettext_lazy("sure to end within tolerance"),
}
TIER_WORDS: dict[str, Promise] = {
    "double": gettext_lazy("double, interlocked"),
    "engineer": gettext_lazy("engineer's design"),
}
# Where a home settled or toward which it tilted, as the engine says it in a sentence.
PLACE_WORDS: dict[str, Promise] = {
    place: gettext_lazy(place)
    for place in (
        _("left corner at the marked end"),
        _("right corner at the marked end"),
        _("left corner at the far end"),
        _("right corner at the far end"),
        _("marked end"),
        _("far end"),
        _("left side"),
        _("right side"),
    )
}

CAUTIONS = (
    _("Stand clear of the strap's line, release it slowly and wear eye protection."),
    _("Do not slacken a side with wind forecast; work one bay at a time."),
    _("Tighten every slackened strap again the same day, after the final wedges; no night untied."),
    _("Tighten as the anchor's listing says, alike on both sides; this figure is no tension to aim for."),
    _("Before an anchor is moved or driven, have buried lines located and expose them by hand near the marks."),
    _("Block or crib the load as soon as it is up; nobody reaches under a load held by a jack alone."),
    _("Lay hollow blocks with their cells upright, load-bearing ones only, none cracked or spalled."),
    _("Shims go in pairs, driven tight against each other; a loose pair carries nothing."),
    _("Turn each course of a double stack across the one below; split caps lie across the joint."),
    _("Stop: a stack over 67 in is built only to an engineer's design."),
    _("Crib, block or otherwise secure the load at once after it has been raised; a jack lifts, it never holds."),
    _("Put a wood block between the jack's metal cap and the steel, and block the jack's base on soft ground."),
    _("Count everybody out from under the home by name before anything is raised or lowered."),
    _("Loosen the anchor straps of the bay before it goes up; a tight strap breaks or pulls its anchor."),
    _("A support is moved by more than 2 in: have an engineer look at the home first."),
    _("These loads are planning estimates; leave room, and watch what the jack's gauge says."),
    _("After the last pass run water through every drain and look along it for leaks and standing water."),
    _("After every pass read the bay again and look at wedges, doors, drains, straps and the jacks' footing."),
)
WARNINGS = (
    _("No datum is given: heights are relative to the mean of all points read."),
    _("Read {points} again: reading {reading} of {where} from setup {setup} looks off by about {slip}."),
    _(
        "One of the readings {readings} ({points}) looks off by about {slip}; "
        "these readings alone can't say which: read there again."
    ),
    _("The given height of {points} doesn't fit the readings: it may have moved or be wrong."),
    _(
        "The readings scatter more than their standard deviations say: {ratio} times, where "
        "{lower} to {upper} passes at {confidence}."
    ),
    _(
        "The readings scatter less than their standard deviations say: {ratio} times, where "
        "{lower} to {upper} passes at {confidence}."
    ),
    _("No reading is checked: a slip in any of them would not show. Read the points again from another setup."),
    _("{some} of {all} readings are unchecked: a slip there would not show. Points: {points}."),
    _("Nothing checks the given height of {points}: if it moved, every height moved with it."),
    _("The points lie on one line or in one place: the plane's slope across it is not known."),
    _("No uncertainty is given with the heights: the verdicts take them as exact."),
    _(
        "{some} of {all} pairs are uncertain: their differences lie closer to "
        "the tolerance than the readings can tell. More readings would settle them."
    ),
    _("not compared with any neighbour, so left as they are: {supports}"),
    _("{option}: no plan was found within the time limit; that does not mean that there is none"),
    _("{option}: the minutes are proven, but time ran out before all plans of equal minutes were compared"),
    _("{option}: time ran out; a plan with less work may exist, none below the bound"),
    _("{option}: found by search; a plan with less work that is as sure may exist, none below the bound"),
    _("{option}: time ran out before everything that binds or stands in the way was found"),
    _("What the strap carries now is not given; counted as nothing."),
    _("The strap is {short} in too short for its bolt; a longer one is needed."),
    _("{turns} turns stay on the bolt; at least {least} are wanted."),
    _("No stack of these parts is {asked} high; nearest: {nearest}."),
    _("Over {limit} in without shims: an engineer designs this stack; don't build it."),
    _("{wood} in of wood and shims is much; masonry is better."),
    _("Under {clearance} in from footing to beam: check clearance."),
    _("Whether it stands as a {tier} stack now is not given; taken as one."),
    _("{some} of the {all} sound courses can stay."),
    _("The home is older than the federal code: no federal table is read for it."),
    _("Neither year nor label tells whether the home is under the federal code: no federal table is read for it."),
    _("The cross member at {where} ft lies on two beams only: it hands no load over."),
    _("No change within the heights' uncertainty lets every support that is known to bear do so."),
    _("The frame can rock on the supports that bear: the loads are certain, the gaps are not."),
    _("Drain {drain}: water stands {depth} in deep between {start} and {end} ft."),
    _("Drain {drain}: raising supports alone can't bring its slope back; the pipe itself must be rehung."),
    _("{support} carries nothing after it went down in pass {number}: the frame doesn't follow it."),
    _("{support} went down and carries nothing after the last pass: the frame doesn't follow it."),
    _("The whole move of {support} is {move} in, over {limit} in: an engineer decides."),
    _("The jack at {support} would push {load} lb in pass {number}: too much for its rating."),
    _(
        "Reading {reading}: the water stands {amount} in too high for its temperature; correct the reading, or shade "
        "the tube and read again."
    ),
    _(
        "Reading {reading}: the water stands {amount} in too low for its temperature; correct the reading, or shade "
        "the tube and read again."
    ),
    _(
        "The pushes at {supports} in pass {number} are rougher than others: the frame is taken as held at the jacks, "
        "not over the supports."
    ),
    _("The points changed in no simple shape that stands out from the noise."),
    _("One corner has settled by {size}, the {place}; this tells {share} of the change."),
    _("One edge has settled by {size}, the {place}; this tells {share} of the change."),
    _("The middle has gone down against the edges by {size}, a dish; this tells {share} of the change."),
    _("The middle has come up against the edges by {size}, a dome; this tells {share} of the change."),
    _("The home has twisted by {size}: opposite corners went the same way; this tells {share} of the change."),
    _("The home has tilted by {size} toward its {place}; this tells {share} of the change."),
    _("The home has tilted by {size} toward the {place}; this tells {share} of the change."),
    _("Read in one of the two surveys only, so nothing is told of them: {points}."),
    _("Fewer than two outside marks were read both times: only movement within the home can be told."),
    _("The outside marks disagree about what moved: only movement within the home can be told."),
    _(
        "No group of more than half of the points stood still together: changes are against the mean of all, and no "
        "point is tested by itself."
    ),
    _("The mark {points} did not stay with the others and is not relied on."),
    _("Only two outside marks agree: had both moved alike, nothing here would show it."),
    _(
        "The whole home reads {shift} in higher than before; what shifts all readings of a survey alike may be all "
        "there is to it."
    ),
    _(
        "The whole home reads {shift} in lower than before; what shifts all readings of a survey alike may be all "
        "there is to it."
    ),
    _(
        "The two surveys scatter differently, {first} and {second} times what is stated of their readings: each "
        "counts by its own."
    ),
    _(
        "With fewer than {least} checks in one of the surveys its scatter can't be learned: the stated standard "
        "deviations are used."
    ),
)
# When a home is due, and why.
DUE = (
    _("Too little is known of how this home moves: by the calendar it is due {days} days from now."),
    _("No pairs of neighbours are given, so no difference can come due."),
    _("The last survey is too noisy to tell whether a pair has passed its limit: measure again first."),
    _("No pair of neighbours was read often enough to tell when it comes due."),
    _("For {days} days the chance that a pair passes its limit stays below {chance} %."),
    _("{a} and {b} stand {apart} in apart today; the chance that a pair has passed its limit is {chance} % already."),
    _(
        "With fewer than two surveys since the last lift it goes by homes like this one: the chance that a pair "
        "passes its limit is {chance} % {days} days from now, {a} and {b} first."
    ),
    _(
        "{a} and {b} stand {apart} in apart today; at the rates measured the chance that a pair passes its limit is "
        "{chance} % {days} days from now."
    ),
    _("Nothing is told of pairs that were read too seldom since the last lift: {pairs}."),
    _(
        "The heights scatter {times} times what is stated about any steady movement: a season, a sudden step or "
        "worse readings; all is told with that much more noise."
    ),
    _("Nothing is known of homes like this one: the rates are those measured, however few the surveys."),
)
# What binds a plan, or stands in its way: a limit as it stands, in a sentence of what more of it would save.
LIMITS = (
    _("{support} may go up {limit} at most"),
    _("{support} may come down {limit} at most"),
    _("{a} and {b} may end {limit} apart"),
    _("all supports must end within {limit}"),
    _("{connection} lets the home rise {limit}"),
    _("{connection} lets the home come down {limit}"),
)
BINDING = (
    _("{state}; {more} more saves {minutes} min"),
    _("{connection} holds the home; free at no cost it saves {minutes} min"),
    _("no plan fits: {state}, the limits leave them {needed} apart"),
    _("no plan fits: {state}, the limits leave {needed}"),
    _("no plan fits: {state}, the work needs {needed}"),
    _("no plan fits: {minutes} min may be used, the least that must be done takes {needed}"),
    _("no plan fits: {support} must carry {least} lb, the moves leave it {carried} lb: the beam does not follow"),
    _(
        "no plan ends within tolerance with a chance of {asked} %: the surest plan found reaches {best} %; "
        "more readings would raise it"
    ),
)
# Why a calculation has no answer, where it is not for its input.
NO_ANSWERS = (
    _("the numbers are too large or too small to compute with"),
    _("the narrowest zone was not found: {why}"),
    _("the solver keeps proposing moves that break a rule; check the limits for extreme numbers"),
    _("the solver found no plan where there is one; check the limits for extreme numbers"),
    _("the supports that bear were not found; check stiffnesses and spacings for extreme numbers"),
    _("the stiffnesses, heights and loads are too far apart to compute with"),
)
LATE = _("No answer within the time allowed.")
FAULT = _("The program made a mistake here; the log of the worker says which.")
GAVE_UP = _("No answer after {times} attempts: each time the worker was lost or the database was away.")


@functools.cache
def _patterns() -> tuple[Pattern, ...]:
    return patterns_of((*CAUTIONS, *WARNINGS, *DUE, *BINDING, *NO_ANSWERS, GAVE_UP))


@functools.cache
def _limits() -> tuple[Pattern, ...]:
    return patterns_of(LIMITS)


def spoken(sentence: str) -> str:
    """Return a sentence of the engine's in the language that is active; as it is, where it isn't one of those."""
    return said_by(_patterns(), sentence, _filled) or retold(sentence)


def spoken_in_unit(sentence: str, size_in: float | None, unit: str) -> str:
    """Return a sentence that names one size [in], with that size as the reader has lengths."""
    said = spoken(sentence)
    return said if size_in is None else said.replace(f"{size_in:.2f} in", length(size_in, unit))


def _filled(name: str, value: str) -> str:
    """What the engine filled in, in words where it is not a number or somebody's name."""
    words = {"option": OPTION_WORDS, "tier": TIER_WORDS, "place": PLACE_WORDS}.get(name, {})
    if name == "state":
        return said_by(_limits(), value, filled) or value
    return str(words[value]) if value in words else filled(name, value)
