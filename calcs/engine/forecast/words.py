"""The reason in one sentence, what a person should know before relying on it, and where the methods come from."""

from collections.abc import Iterator

from calcs.engine.common import ResultWarning
from calcs.engine.forecast.types import ForecastInput, ForecastResult
from calcs.engine.levels.network import named

NOISY = 1.5  # times the stated standard deviation; judgement

SOURCES = (
    "models of settlement averaged by AICc: Burnham and Anderson, Model Selection and Multimodel Inference, 2nd ed. "
    "(Springer 2002), from memory",
    "settlement that slows: straight on the logarithm of time, or a hyperbola; a yearly wave from eight surveys over "
    "three seasons and a year and a half: judgement, no source",
    "rates drawn toward those of like homes by a normal prior: Gelman et al., Bayesian Data Analysis, 3rd ed. "
    "(2013), from memory",
    "due where the chance of any pair, by 1,000 seeded draws of the home, reaches the risk that is taken",
    "stable or moving by a test that holds however often it is asked: Robbins, Ann. Math. Stat. 41 (1970) 1397, "
    "from memory",
)


def reason_of(document: ForecastInput, result: ForecastResult, *, apart_in: float | None) -> str:
    """Why the home is due when it is; ``apart_in`` is how far the driver's points stand apart today."""
    after, apart = f"{(result.due_days or 0.0) - document.as_of_days:.0f}", f"{apart_in or 0.0:.2f}"
    risk = f"{100 * (result.chance_at_due or 0.0):.0f}"
    a, b = ("", "") if result.driver is None else (named([result.driver.a]), named([result.driver.b]))
    if result.basis == "calendar":
        text = f"Too little is known of how this home moves: by the calendar it is due {after} days from now."
    elif not document.neighbours:
        text = "No pairs of neighbours are given, so no difference can come due."
    elif result.basis == "re_read":
        text = "The last survey is too noisy to tell whether a pair has passed its limit: measure again first."
    elif result.chance_now is None:
        text = "No pair of neighbours was read often enough to tell when it comes due."
    elif result.due_days is None:
        risk = f"{100 * document.risk:.0f}"
        text = f"For {document.horizon_days:.0f} days the chance that a pair passes its limit stays below {risk} %."
    elif result.chance_now >= document.risk:
        risk = f"{100 * result.chance_now:.0f}"
        text = (
            f"{a} and {b} stand {apart} in apart today; "
            f"the chance that a pair has passed its limit is {risk} % already."
        )
    elif result.basis == "prior":
        text = (
            "With fewer than two surveys since the last lift it goes by homes like this one: the chance that a pair "
            f"passes its limit is {risk} % {after} days from now, {a} and {b} first."
        )
    else:
        text = (
            f"{a} and {b} stand {apart} in apart today; at the rates measured the chance that a pair passes its "
            f"limit is {risk} % {after} days from now."
        )
    return text


def warnings_of(document: ForecastInput, result: ForecastResult) -> Iterator[ResultWarning]:
    """What limits the answer."""
    unknown = [f"{pair.a}-{pair.b}" for pair in result.pairs if pair.chance_now is None]
    if unknown and result.basis != "calendar":
        text = f"Nothing is told of pairs that were read too seldom since the last lift: {named(unknown)}."
        yield ResultWarning(code="pairs_unknown", text=text)
    if result.noise_factor is not None and result.noise_factor >= NOISY:
        text = (
            f"The heights scatter {result.noise_factor:.1f} times what is stated about any steady movement: a "
            "season, a sudden step or worse readings; all is told with that much more noise."
        )
        yield ResultWarning(code="scatter_high", text=text)
    if result.basis == "measured" and document.prior is None:
        text = "Nothing is known of homes like this one: the rates are those measured, however few the surveys."
        yield ResultWarning(code="no_prior", text=text)
