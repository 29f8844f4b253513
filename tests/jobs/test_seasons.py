"""When the ground is fit: by soil, month and the rules for the climate. Expected by hand."""

import datetime

import pytest

from jobs.models import SoilClass
from jobs.rulebook import resolve
from jobs.seasons import Fit, Ground, Season, fit_of_month, is_same_season, season_on

RULES = resolve({})  # frozen December to February, wettest March to May, driest August and September
DAY = datetime.date


@pytest.mark.parametrize(
    ("soil", "year"),
    [
        (SoilClass.ROCK, "GGGGGGGGGGGG"),
        (SoilClass.DENSE, "GGGGGGGGGGGG"),
        (SoilClass.SAND, "PPGGGGGGGGGP"),
        (SoilClass.CLAY_FIRM, "PPPPPGGFFGGP"),
        (SoilClass.CLAY_SOFT, "PPPPPGGFFGGP"),
        (SoilClass.FILL, "PPFFFGGFFGGP"),
        (SoilClass.UNKNOWN, "FFFFFGGFFGGF"),
    ],
)
def test_each_soil_has_its_year(soil: str, year: str) -> None:
    letter = {Fit.GOOD: "G", Fit.FAIR: "F", Fit.POOR: "P"}
    found = (fit_of_month(month, soil_class=soil, rules=RULES)[0] for month in range(1, 13))
    assert "".join(letter[fit] for fit in found) == year


@pytest.mark.parametrize(
    ("day", "season"),
    [
        (DAY(2026, 1, 20), Season(fit=Fit.POOR, ground=Ground.FROZEN, better_from=DAY(2026, 6, 1))),
        (DAY(2026, 4, 30), Season(fit=Fit.POOR, ground=Ground.SWOLLEN, better_from=DAY(2026, 6, 1))),
        (DAY(2026, 8, 31), Season(fit=Fit.FAIR, ground=Ground.SHRUNK, better_from=DAY(2026, 10, 1))),
        (DAY(2026, 12, 1), Season(fit=Fit.POOR, ground=Ground.FROZEN, better_from=DAY(2027, 6, 1))),
        (DAY(2026, 7, 1), Season(fit=Fit.GOOD)),
    ],
)
def test_clay_is_told_what_is_wrong_and_when_it_gets_better(day: datetime.date, season: Season) -> None:
    assert season_on(day, soil_class=SoilClass.CLAY_FIRM, rules=RULES) == season


def test_a_company_where_nothing_freezes_says_so() -> None:
    warm = resolve({"frozen_from_month": 0})
    assert season_on(DAY(2026, 1, 20), soil_class=SoilClass.SAND, rules=warm) == Season(fit=Fit.GOOD)


def test_where_no_month_is_better_none_is_promised() -> None:
    always = resolve({"swollen_from_month": 1, "swollen_to_month": 12})
    found = season_on(DAY(2026, 7, 1), soil_class=SoilClass.CLAY_SOFT, rules=always)
    assert found == Season(fit=Fit.POOR, ground=Ground.SWOLLEN)


@pytest.mark.parametrize(
    ("day", "other", "same"),
    [
        (DAY(2026, 3, 1), DAY(2023, 4, 10), True),  # 40 days into the year apart
        (DAY(2026, 3, 1), DAY(2023, 4, 20), False),  # 50
        (DAY(2026, 1, 10), DAY(2020, 12, 5), True),  # 36, over the turn of the year
        (DAY(2026, 1, 10), DAY(2026, 7, 10), False),
    ],
)
def test_the_same_season_is_within_45_days_whatever_the_year(
    day: datetime.date, other: datetime.date, same: bool
) -> None:
    assert is_same_season(day, other) is same
