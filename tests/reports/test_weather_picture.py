"""The picture of the last weeks: every day in its column, nothing invented."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from phenology.weather.series import DailyWeather
from reports.views.weather_text import weather_picture

LAST = date(2026, 3, 31)


def month(source="station", **changes):
    low = np.linspace(-4, 6, 31)
    high = low + 8
    for at in changes.get("missing", ()):
        low[at] = np.nan
    return DailyWeather(date(2026, 3, 1), low, high, source)


def test_rows_span_the_range_and_days_stand_in_columns():
    lines = weather_picture(month(), LAST, days=31)
    picture = lines[:9]
    assert picture[0].startswith("  13° ")
    assert picture[-1].startswith("  -3° ")
    assert picture[0].endswith("█") and len(picture[0]) == 6 + 31  # the last day is the warmest
    assert picture[-1][6] == "█"  # the first day is the coldest
    for column in range(31):
        cells = "".join(line.ljust(37)[6 + column] for line in picture)
        assert cells.strip() == "█" * cells.count("█") and cells.count("█") >= 4  # one unbroken bar


def test_missing_and_doubtful_days_are_marked_below():
    lines = weather_picture(month(missing=[3, 4]), LAST, days=31, doubtful={date(2026, 3, 10)})
    marks = lines[9]
    assert [n for n, mark in enumerate(marks[6:]) if mark == "·"] == [3, 4]
    assert marks[6 + 9] == "?"
    assert lines[-1].strip() == "█ measured  · missing  ? doubtful, unused"


@pytest.mark.parametrize(
    "source, sign, word", [("forecast", "░", "forecast"), ("model", "▒", "model or filled")]
)
def test_what_was_not_measured_looks_otherwise(source, sign, word):
    lines = weather_picture(month(source), LAST, days=31)
    assert sign in lines[4] and "█" not in "".join(lines)
    assert lines[-1].strip() == f"{sign} {word}"


def test_dates_stand_under_mondays():
    labels = weather_picture(month(), LAST, days=31)[-2]
    assert labels.index("2 Mar") == 6 + 1
    assert labels.index("16") == 6 + 15
    assert date(2026, 3, 16).weekday() == 0


def test_fahrenheit_labels():
    assert weather_picture(month(), LAST, days=31, units="F")[0].startswith("  55° ")  # 24.8 to 57.2 °F


def test_one_flat_day_is_drawn():
    lines = weather_picture(DailyWeather(LAST, [5.0], [5.0], "bench"), LAST, days=3)
    assert sum(line.count("█") for line in lines[:9]) >= 1


def test_nothing_is_said_in_words():
    assert weather_picture(month(), date(2027, 5, 5), days=9) == ["no weather from 2027-04-27 to 2027-05-05"]


def test_plain_letters_only():
    text = "\n".join(weather_picture(month(missing=[2]), LAST, days=31, plain=True))
    assert text.isascii()
