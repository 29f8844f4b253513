"""The demo's story in words, made from the service's answers and nothing else: every figure is one it sent."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from calcs.demo.answers import Answers
from calcs.engine.stacks import DEFAULT_PARTS, DEFAULT_RULES
from calcs.engine.units import format_sixteenths

Result = Mapping[str, Any]
TWO_SIDED_95 = 1.96
MOST_NAMED = 6
PART_LB = {part.code: part.lb for part in DEFAULT_PARTS} | {"shims": DEFAULT_RULES.shims_lb}
OPTION_WORDS = {
    "least_work": "least work",
    "raise_only": "raise only",
    "lower_only": "lower only",
    "flattest": "flattest",
    "within_budget": "within budget",
    "sure": "sure",
}


class Names:
    """Turns the service's keys into what people say: a point's label, a strap's code, ``drain DR1``."""

    def __init__(self, layout: Result) -> None:
        self._connections: dict[str, str] = {each["code"]: _connection_words(each) for each in layout["connections"]}
        self._words: dict[str, str] = (
            {each["id"]: each["label"] for each in layout["points"]}
            | {each["id"]: each["code"] for each in layout["straps"]}
            | {each["id"]: _connection_words(each) for each in layout["connections"]}
            | {each["id"]: f"drain {each['code']}" for each in layout["drain_runs"]}
        )

    def __call__(self, key: str) -> str:
        """Return what people call it; of a stretch of a drain, the drain and from where to where."""
        return " ".join(self._words.get(word, word) for word in key.split(" "))

    def in_text(self, text: str) -> str:
        """Say what each connection is that a sentence names by its code."""
        return " ".join(self._connections.get(word, word) for word in text.split(" "))


def _connection_words(connection: Result) -> str:
    return f"{'riser' if connection['kind'] == 'water' else connection['kind']} {connection['code']}"


def levels_lines(levels: Result, flatness: Result, names: Names) -> Iterator[str]:
    """Say how high and low the home lies, how sure that is, and whether the noise is what was said."""
    heights = {each["point"]: each for each in levels["heights"]}
    supports = {each["code"]: each for each in flatness["points"]}
    low, high = flatness["lowest"], flatness["highest"]
    sd_in = max(heights[code]["sd_in"] for code in supports)
    yield (
        f"{len(levels['readings'])} readings -> {len(heights)} heights: from {names(low)}, the lowest, to "
        f"{names(high)}, the highest, {_inches(flatness['range_in'])} ± {_inches(TWO_SIDED_95 * sd_in * 2**0.5)} in"
    )
    test = levels["global_test"]
    if test is None:
        yield "nothing is read twice: no check of the noise"
        return
    state = "passes" if test["passed"] else f"fails, {test['direction']} than said"
    yield (
        f"global test {state}: {test['ratio']:.2f} of the noise that was said, "
        f"{test['lower']:.2f} to {test['upper']:.2f} passes"
    )


def suspect_lines(levels: Result, names: Names, point_of: Mapping[str, str], planted: str | None) -> Iterator[str]:
    """Say which reading to take again, and whether it is the one that the story planted."""
    suspects = [each for each in levels["readings"] if each["suspect"]]
    if not suspects:
        yield "no reading is suspect"
    for each in suspects:
        label = names(point_of[each["id"]])
        others = ", ".join(names(point_of[other]) for other in each["also_suspect"])
        yield (
            f"read {label} again: about {_inches(abs(each['slip_in']), denominator=16)} in off, "
            f"{each['w']:.1f} times its noise" + (f" (or {others})" if others else "")
        )
    unchecked = [names(point_of[each["id"]]) for each in levels["readings"] if not each["checked"]]
    yield f"nothing checks {', '.join(unchecked)}" if unchecked else "every reading is checked by others"
    if planted is not None:
        found = {names(point_of[each["id"]]) for each in suspects}
        yield f"planted: one slip of 1/2 in at {planted}: " + ("found" if found == {planted} else "NOT found")


def flatness_lines(flatness: Result, names: Names) -> Iterator[str]:
    """Say how many pairs are over, too close to call and within, and which are worst."""
    counts = flatness["counts"]
    yield f"pairs: {counts['over']} over, {counts['uncertain']} too close to call, {counts['within']} within"
    over = sorted(
        (pair for pair in flatness["pairs"] if pair["verdict"] == "over"),
        key=lambda pair: -abs(pair["difference_in"]),
    )
    if over:
        yield "worst: " + ", ".join(
            f"{names(pair['a'])}-{names(pair['b'])} {_inches(abs(pair['difference_in']))}"
            for pair in over[:MOST_NAMED]
        )


def option_lines(lift: Result, names: Names) -> Iterator[str]:
    """List the options side by side, the recommended one marked."""
    for option in lift["options"]:
        mark = "*" if option["name"] == lift["recommended"] else " "
        name = f"{mark} {OPTION_WORDS[option['name']]:<11}"
        if option["minutes"] is None:
            yield f"{name} impossible" if option["status"] == "impossible" else f"{name} no plan in time"
            continue
        freed = f", free {', '.join(map(names, option['freed']))}" if option["freed"] else ""
        worst = option["worst_pair"]
        yield (
            f"{name}{minutes(option):<22} {option['touched']} supports, "
            f"up to {_inches(option['raised_max_in'])} up and {_inches(option['lowered_max_in'])} down{freed}; "
            f"worst pair after {names(worst['a'])}-{names(worst['b'])} {_inches(abs(worst['difference_in']))}"
        )
    for each in lift["impossible"]:
        for why in each["why"][:MOST_NAMED]:
            yield f"  {OPTION_WORDS[each['option']]}, way {why['way']}: {names.in_text(why['text'])}"


def minutes(option: Result) -> str:
    """Say how long an option takes, and whether that is proven to be the least."""
    proof = "proven least" if option["status"] == "optimal" else f"at least {option['bound_min']:.0f} needed"
    return f"{option['minutes']:4.0f} min, {proof};"


def chosen(lift: Result) -> Result | None:
    """Return the recommended option, or None where no option is possible."""
    return next((option for option in lift["options"] if option["name"] == lift["recommended"]), None)


def move_lines(option: Result, names: Names) -> Iterator[str]:
    """Say what to do at each support that is touched, biggest first."""
    words = move_words(option, names)
    for start in range(0, len(words), 5):
        yield "; ".join(words[start : start + 5])


def move_words(option: Result, names: Names) -> list[str]:
    """Return a few words for each support that is touched, biggest first."""
    touched = [move for move in option["moves"] if move["move_in"] or move["support_change_in"]]
    touched.sort(key=lambda move: -abs(move["move_in"]))
    return [_move_words(move, names) for move in touched]


def _move_words(move: Result, names: Names) -> str:
    if move["move_in"] == 0:
        return f"snug {names(move['code'])} up by {_inches(move['support_change_in'])}"
    verb = "raise" if move["move_in"] > 0 else "lower"
    return f"{verb} {names(move['code'])} by {_inches(abs(move['move_in']))}"


def binding_lines(option: Result, names: Names) -> Iterator[str]:
    """Say what stands in an option's way and what moving it would save."""
    for each in option["binding"][:MOST_NAMED]:
        yield f"what binds: {names.in_text(each['text'])}"


def strap_lines(straps: Result, names: Names) -> Iterator[str]:
    """Say which straps to loosen before jacking, and what the worst anchor would carry if its strap stayed tight."""
    rows = [{**each, "label": each.get("label") or names(each["code"])} for each in straps["straps"]]
    loosen = [each for each in rows if each["handling"] == "loosen_first"]
    if loosen:
        yield "loosen before jacking: " + ", ".join(
            f"{each['label']} by {_inches(each['slack_needed_in'])}" for each in loosen
        )
    else:
        yield "no strap needs loosening"
    worst = max(rows, key=lambda each: each["tension_if_tight_lb"], default=None)
    if worst is not None:
        yield (
            f"worst anchor {worst['label']}: left tight it would carry {worst['tension_if_tight_lb']:,.0f} lb, "
            f"{worst['tension_state'].replace('_', ' ')} load (3,150 lb working, 4,725 lb ultimate)"
        )


def stack_lines(stacks: Result) -> Iterator[str]:
    """Say which supports are rebuilt, and what parts with what weight that takes."""
    rebuilt = [each["label"] for each in stacks["supports"] if each["added"] or each["removed"]]
    yield f"{len(stacks['supports'])} stacks; other parts at {', '.join(rebuilt) or 'none'}, new shims at the rest"
    totals = {part: count for part, count in stacks["totals"].items() if count}
    lb = sum(PART_LB[part] * count for part, count in totals.items())
    listed = ", ".join(f"{count} {part.replace('_', ' ')}" for part, count in totals.items())
    yield f"parts to load: {listed}: {lb:,.0f} lb"
    stuck = [each["label"] for each in stacks["supports"] if each["status"] != "ok"]
    if stuck:
        yield f"no stack fits at {', '.join(stuck)}"


def standing_lines(plan: Result) -> Iterator[str]:
    """Say whether the plan stands on a doubtful reading."""
    if plan["is_provisional"]:
        points = ", ".join(each["label"] for each in plan["provisional_points"])
        yield f"provisional: a doubtful reading touches {points}, which moves"
    else:
        yield "not provisional: no support moves on a suspect or unchecked reading"


def change_lines(before: Answers, after: Answers, names: Names) -> Iterator[str]:
    """Say what other readings made of the heights' test and the plan."""
    for word, answers in (("before", before), ("after", after)):
        suspects = sum(each["suspect"] for each in answers.levels["readings"])
        test = "passes" if answers.levels["global_test"]["passed"] else "fails"
        plan = chosen(answers.lift)
        work = f"{plan['minutes']:.0f} min at {plan['touched']} supports" if plan else "no plan"
        standing = "provisional" if answers.plan and answers.plan["is_provisional"] else "not provisional"
        yield f"{word:<7}{suspects} suspect, global test {test}; {work}, {standing}"
    moved = [_moves(answers.lift) for answers in (before, after)]
    changed = [code for code in moved[0] | moved[1] if moved[0].get(code, 0.0) != moved[1].get(code, 0.0)]
    if changed:
        yield "moves that change: " + ", ".join(
            f"{names(code)} {_move_or_none(moved[0].get(code, 0.0))} -> {_move_or_none(moved[1].get(code, 0.0))}"
            for code in changed
        )


def _moves(lift: Result) -> dict[str, float]:
    plan = chosen(lift)
    return {move["code"]: move["move_in"] for move in plan["moves"] if move["move_in"]} if plan else {}


def _move_or_none(move_in: float) -> str:
    return _inches(move_in, signed=True) if move_in else "none"


def misclosure_lines(readings: Sequence[Result], setup_codes: Mapping[str, str]) -> Iterator[str]:
    """Say for each setup how far its closing shot is from its first reference shot."""
    parts = []
    for setup, code in setup_codes.items():
        mine = [each for each in readings if each["setup"] == setup]
        first = next((each for each in mine if each["shot"] == "reference"), None)
        last = next((each for each in reversed(mine) if each["shot"] == "closing"), None)
        if first is not None and last is not None:
            away_in = float(last["value_in"]) - float(first["value_in"])
            parts.append(f"{code} {_inches(away_in, signed=True)}")
    yield "closing shots against the first: " + ", ".join(parts)


def _inches(value_in: float, *, signed: bool = False, denominator: int = 16) -> str:
    return format_sixteenths(value_in, signed=signed, denominator=denominator)
