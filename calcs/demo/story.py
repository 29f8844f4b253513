"""The demo's story: two homes entered, read, computed by the background worker, and told from its answers."""

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from calcs.demo import checks_told, finished, office, phone, telling
from calcs.demo.answers import Answers, wait_for
from calcs.demo.cast import Cast, Teller
from calcs.demo.client import Client
from calcs.demo.crew import Shot, correction, shots, slip_at
from calcs.demo.scenario import DOUBLE, SMALL
from calcs.demo.truth import Home
from calcs.demo.years import story as years

Row = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A survey that has been handed in, with all that the crew knows of it."""

    home: Home
    layout: Row
    sent: phone.Sent
    taken: list[Shot]

    @property
    def names(self) -> telling.Names:
        """What people call the points, straps and connections."""
        return telling.Names(self.layout)


def tell(cast: Cast) -> Row:
    """Tell the whole story; return the main survey."""
    main = tell_double(cast)
    tell_small(cast)
    years.tell(cast)
    return main


def tell_double(cast: Cast) -> Row:
    """Tell of the two-section home: its survey, the slip in it, the plan, and what the correction changes."""
    job = _survey(cast, DOUBLE)
    corrected = _is_corrected(cast, job)
    answers = _answers(cast, job)
    _tell_heights(cast, job, answers, planted=None if corrected else slip_at(job.home, office.frame_of(job.layout)))
    _tell_plan(cast, job, answers)
    if not corrected:
        _tell_correction(cast, job, answers)
    return job.sent.survey


def tell_small(cast: Cast) -> None:
    """Tell of the small house in a few lines: what was found, and how it was left."""
    job = _survey(cast, SMALL, quietly=True)
    survey = job.sent.survey["id"]
    answers = wait_for(cast.crew, survey, told=lambda name, seconds: None)
    cast.teller.title(_headline(job.home))
    cast.teller.line(_extent(job.layout) + "; " + next(telling.flatness_lines(answers.flatness, job.names)))
    best = telling.chosen(answers.lift)
    if best is None:
        cast.teller.line("no option is possible")
        return
    cast.teller.line(f"{telling.minutes(best).strip()} " + "; ".join(telling.move_words(best, job.names)))
    cast.teller.lines(finished.lines(cast, job.home, job.layout, survey))


# -- what is sent --------------------------------------------------------------------------------------------


def _survey(cast: Cast, home: Home, *, quietly: bool = False) -> Job:
    """Enter a home, send its survey twice and hand it in."""
    teller = Teller(write=lambda text: None) if quietly else cast.teller
    teller.title(_headline(home))
    begun = time.perf_counter()
    layout = office.enter(cast.office, home)
    office.send_today(cast.office, home, layout["siting"])
    office.note_papers(cast.office)
    office.assess(cast.crew, home, layout)
    teller.line(_extent(layout), time.perf_counter() - begun)
    sent = phone.open_survey(cast.crew, home, layout)
    taken = shots(home, office.frame_of(layout))
    if sent.survey["state"] == "submitted":
        teller.line("this scenario is here already; what follows are its stored answers")
        counts = phone.send_stored(cast.crew, sent)
        teller.line(f"all its readings sent once more: {counts['received']} new, {counts['repeated']} known already")
    else:
        _send_twice(cast.crew, sent, taken, teller)
    if home.pulls:
        counts = phone.note_pulls(cast.crew, sent, layout)
        teller.line(
            f"tension of straps, plucked or by gauge: {counts['taken']} new, {counts['repeated']} known already"
        )
    begun = time.perf_counter()
    reply = phone.hand_in(cast.crew, sent)
    text = f"handed in; its calculations: {reply.status}, {reply.location}"
    teller.line(text, time.perf_counter() - begun)
    return Job(home=home, layout=layout, sent=sent, taken=taken)


def _send_twice(client: Client, sent: phone.Sent, taken: list[Shot], teller: Teller) -> None:
    begun = time.perf_counter()
    counts = phone.send(client, sent, taken)
    examples = " or ".join(next(each.typed for each in taken if mark in each.typed) for mark in (" ", "-"))
    places = f"{len(sent.setups)} setups in {max(each.round for each in taken)} rounds"
    text = f"{len(taken)} readings from {places}, typed as {examples}: {counts['received']} new"
    teller.line(text, time.perf_counter() - begun)
    again = phone.send(client, sent, taken)
    teller.line(f"the same {len(taken)} once more: {again['received']} new, {again['repeated']} known already")


def _is_corrected(cast: Cast, job: Job) -> bool:
    """Tell whether somebody has corrected a reading of the survey already."""
    return any(row["replaces"] for row in cast.crew.all("readings/", survey=job.sent.survey["id"]))


def _answers(cast: Cast, job: Job) -> Answers:
    def told(name: str, seconds: float) -> None:
        cast.teller.line(f"  {name} done", seconds)

    begun = time.perf_counter()
    answers = wait_for(cast.crew, job.sent.survey["id"], told=told)
    cast.teller.line(checks_told.step_line(answers.steps_done, answers.steps), time.perf_counter() - begun)
    return answers


# -- what is told --------------------------------------------------------------------------------------------


def _headline(home: Home) -> str:
    size = f"{home.home['width_ft']} x {home.home['length_ft']} ft"
    return f"{home.home['name']} ({home.code}), {home.siting['address']}: {size}"


def _extent(layout: Row) -> str:
    parts = [f"{len(layout['supports'])} supports", f"{len(layout['neighbour_pairs'])} pairs"]
    for name, word in (
        ("benchmarks", "benchmarks"),
        ("connections", "connections"),
        ("straps", "straps"),
        ("drain_nodes", "places on a drain"),
    ):
        if layout[name]:
            parts.append(f"{len(layout[name])} {word}")
    return ", ".join(parts)


def _tell_heights(cast: Cast, job: Job, answers: Answers, *, planted: str | None) -> None:
    teller, names = cast.teller, job.names
    readings = cast.crew.all("readings/", survey=job.sent.survey["id"], standing="true")
    readings.sort(key=lambda row: row["sequence"])
    teller.title("Heights")
    teller.lines(telling.misclosure_lines(readings, {key: code for code, key in sorted(job.sent.setups.items())}))
    teller.lines(telling.levels_lines(answers.levels, answers.flatness, names))
    point_of = {row["id"]: row["point"] for row in readings}
    teller.lines(telling.suspect_lines(answers.levels, names, point_of, planted))
    teller.lines(telling.flatness_lines(answers.flatness, names))
    if "frame" in answers.results:
        teller.lines(checks_told.load_lines("as found", answers.results["frame"], names))


def _tell_plan(cast: Cast, job: Job, answers: Answers) -> None:
    teller, names, plan = cast.teller, job.names, answers.plan
    teller.title("Lift plan (* recommended)")
    teller.lines(telling.option_lines(answers.lift, names))
    best = telling.chosen(answers.lift)
    if best is None or plan is None:
        teller.lines(telling.strap_lines(answers.results["straps"], names))
        return
    teller.lines(checks_told.chance_lines(answers.lift))
    teller.lines(checks_told.curve_lines(answers.results["lift_curve"]))
    teller.lines(telling.standing_lines(plan))
    teller.lines(telling.move_lines(best, names))
    teller.lines(telling.binding_lines(best, names))
    teller.title("That plan, checked")
    _tell_checks(cast, job, answers)


def _tell_checks(cast: Cast, job: Job, answers: Answers) -> None:
    teller, names, checks = cast.teller, job.names, answers.checks
    lines: dict[str, Callable[[Row], Iterable[str]]] = {
        "frame": lambda result: checks_told.load_lines("after it", result, names),
        "passes": checks_told.pass_lines,
        "stacks": telling.stack_lines,
        "supports": lambda result: checks_told.support_lines(result, names),
        "straps": lambda result: telling.strap_lines(result, names),
        "strap_spacing": checks_told.spacing_lines,
        "drains": lambda result: checks_told.drain_lines(result, names),
    }
    for kind, told in lines.items():
        if kind in checks:
            teller.lines(told(checks[kind]))
    if "strap_tension" in answers.results:
        teller.lines(checks_told.tension_lines(answers.results["strap_tension"], names))


def _tell_correction(cast: Cast, job: Job, before: Answers) -> None:
    """Read the suspect again, send that with a reason, and say what it changes."""
    pair = correction(job.home, job.taken, office.frame_of(job.layout))
    if pair is None:
        return
    wrong, again = pair
    teller = cast.teller
    teller.title(f"The crew reads {again.label} again: {again.typed} in place of {wrong.typed}")
    counts = phone.correct(cast.crew, job.sent, wrong, again)
    teller.line(f"correction taken, nothing overwritten: the survey is at revision {counts['revision']}")
    after = _answers(cast, job)
    teller.lines(telling.change_lines(before, after, job.names))
