"""The rule book: default limits, allowances and costs, each with its unit, range and source."""

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from django.utils.translation import gettext as _


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One figure: its value, unit, legal range, what it is and where it is from."""

    value: float
    unit: str
    low: float
    high: float
    about: str
    source: str


Rules = dict[str, float]


def _load() -> dict[str, Rule]:
    path = Path(__file__).with_suffix(".toml")
    return {key: Rule(**entry) for key, entry in tomllib.loads(path.read_text()).items()}


RULES: dict[str, Rule] = _load()


def problems_with(values: object) -> list[str]:
    """Return what is wrong with a rule set's own values, a plain sentence each; empty when nothing is."""
    if not isinstance(values, Mapping):
        return [_("Give the rules as names with numbers.")]
    return [problem for key, value in values.items() if (problem := _problem_with(str(key), value))]


def _problem_with(key: str, value: object) -> str | None:
    rule = RULES.get(key)
    if rule is None:
        return _("{rule}: there is no such rule; the rules are {rules}.").format(rule=key, rules=", ".join(RULES))
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return _("{rule}: give a number.").format(rule=key)
    if not rule.low <= value <= rule.high:
        words = {"value": f"{value:g}", "low": f"{rule.low:g}", "high": f"{rule.high:g} {rule.unit}".rstrip()}
        return _("{rule}: {value} is outside {low} to {high}.").format(rule=key, **words)
    return None


def resolve(values: Mapping[str, float]) -> Rules:
    """Return every rule's value, with ``values`` in place of the defaults they name."""
    return {key: float(values.get(key, rule.value)) for key, rule in RULES.items()}
