"""The numbers of a home's record as plain values: inches and days, keys for things."""

from collections.abc import Iterator
from typing import Any

from calcs.home_record.pictures import day_of
from calcs.home_record.read import HomeRecord
from jobs.csv_files.text import write_lines

CSV_HEADS = ("day", "survey", "stage", "point", "label", "is_mark", "height_in", "sd_in")


def numbers_of(record: HomeRecord) -> dict[str, Any]:
    """Return the record as the API gives it."""
    return {
        "home": record.home.pk,
        "siting": record.siting.pk,
        "surveys": list(_surveys(record)),
        "lifts": [lift.on for lift in record.series.lifts],
        "points": list(_points(record)),
        "home_above_marks": list(_above_marks(record)),
        "change": _change(record),
        "forecast": _forecast(record),
    }


def _surveys(record: HomeRecord) -> Iterator[dict[str, Any]]:
    for each in record.series.surveys:
        flat = record.flatness.get(each.survey.pk, {})
        yield {
            "id": each.survey.pk,
            "started_at": each.survey.started_at,
            "stage": each.survey.stage,
            "verdict": flat.get("verdict"),
            "range_in": flat.get("range_in"),
        }


def _points(record: HomeRecord) -> Iterator[dict[str, Any]]:
    rates = {point.code: point for point in record.forecast.points} if record.forecast else {}
    for code, is_mark in (*((code, False) for code in record.measured), *((code, True) for code in record.marks)):
        scale = record.outside if is_mark else record.frame
        rate = rates.get(code)
        yield {
            "point": code,
            "label": record.name(code),
            "is_mark": is_mark,
            "heights": [
                {"survey": each.survey.pk, "height_in": heights[code][0], "sd_in": heights[code][1]}
                for each, heights in zip(record.series.surveys, scale.heights, strict=True)
                if code in heights
            ],
            "rate_in_per_yr": rate and rate.rate_in_per_yr,
            "rate_sd_in_per_yr": rate and rate.rate_sd_in_per_yr,
        }


def _above_marks(record: HomeRecord) -> Iterator[dict[str, Any]]:
    for each, value in zip(record.series.surveys, record.above_marks, strict=True):
        if value is not None:
            yield {"survey": each.survey.pk, "height_in": value[0], "sd_in": value[1]}


def _change(record: HomeRecord) -> dict[str, Any] | None:
    result = record.difference
    if result is None or record.first is None or record.second is None:
        return None
    return {
        "first": record.first.survey.pk,
        "second": record.second.survey.pk,
        "is_relative": result.relative,
        "datum": result.datum,
        "taken_out": result.taken_out,
        "common_shift_in": result.common_shift_in,
        "common_shift_sd_in": result.common_shift_sd_in,
        "pattern": result.pattern.shape if result.pattern else None,
        "points": [
            {
                "point": point.code,
                "change_in": point.change_in,
                "sd_in": point.sd_in,
                "low_in": point.low_in,
                "high_in": point.high_in,
                "detectable_in": point.detectable_in,
                "verdict": point.verdict,
            }
            for point in result.points
        ],
    }


def _forecast(record: HomeRecord) -> dict[str, Any] | None:
    forecast = record.forecast
    if forecast is None:
        return None
    days = {"due_on": forecast.due_days, "latest_on": forecast.latest_days}
    return {
        "basis": forecast.basis,
        "chance_now": forecast.chance_now,
        **{name: None if day is None else day_of(record, day) for name, day in days.items()},
        "bands": [
            {
                "point": band.code,
                "on": day_of(record, band.days),
                "height_in": band.height_in,
                "low95_in": band.low95_in,
                "high95_in": band.high95_in,
            }
            for band in forecast.bands
        ],
    }


def csv_of(record: HomeRecord) -> Iterator[str]:
    """Write every height as CSV, a line a survey and point: against the mean of the home, of a mark of the marks."""
    return write_lines(CSV_HEADS, _csv_rows(record))


def _csv_rows(record: HomeRecord) -> Iterator[tuple[str, ...]]:
    for place, each in enumerate(record.series.surveys):
        survey = each.on.isoformat(), str(each.survey.pk), each.survey.stage
        for codes, scale, is_mark in ((record.measured, record.frame, "0"), (record.marks, record.outside, "1")):
            for code in codes:
                if code in scale.heights[place]:
                    height_in, sd_in = scale.heights[place][code]
                    yield (*survey, code, record.name(code), is_mark, f"{height_in:.4f}", f"{sd_in:.4f}")
