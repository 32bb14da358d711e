"""How dates are written, and where weeks begin."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from phenology.language.date_style import (
    SHOWN_ORDERS,
    DateStyle,
    date_range,
    date_style,
    full_date,
    short_date,
    using_dates,
    weekday_date,
    weekday_full_date,
)
from phenology.language.vague_dates import format_dates, parse
from phenology.model.errors import InputError

FOURTH = date(2026, 7, 4)  # a Saturday
styles = st.builds(DateStyle, st.sampled_from(SHOWN_ORDERS), st.integers(0, 6))


@pytest.mark.parametrize(
    ("order", "short", "weekday", "full", "same_month", "over_months"),
    [
        ("day-first", "4 Jul", "Sat 4 Jul", "Sat 4 Jul 2026", "4-9 Jul", "29 Jun-10 Jul"),
        ("month-first", "Jul 4", "Sat Jul 4", "Sat Jul 4, 2026", "Jul 4-9", "Jun 29-Jul 10"),
        (
            "year-first", "2026-07-04", "Sat 2026-07-04", "Sat 2026-07-04",
            "2026-07-04 to 2026-07-09", "2026-06-29 to 2026-07-10",
        ),
    ],
)  # fmt: skip
def test_each_order_writes_days_and_spans_its_way(order, short, weekday, full, same_month, over_months):
    with using_dates(DateStyle(order)):
        assert (short_date(FOURTH), weekday_date(FOURTH), weekday_full_date(FOURTH)) == (short, weekday, full)
        assert date_range(FOURTH, date(2026, 7, 9)) == same_month
        assert date_range(date(2026, 6, 29), date(2026, 7, 10)) == over_months
        assert date_range(FOURTH, FOURTH) == short


def test_a_style_ends_with_its_block_whatever_happens():
    with pytest.raises(RuntimeError), using_dates(DateStyle("month-first", 6)):
        assert full_date(FOURTH) == "Jul 4, 2026"
        raise RuntimeError
    assert date_style() == DateStyle() and full_date(FOURTH) == "4 Jul 2026"


def test_a_style_within_a_style_gives_the_outer_back():
    with using_dates(DateStyle("month-first")):
        with using_dates(DateStyle("year-first")):
            assert short_date(FOURTH) == "2026-07-04"
        assert short_date(FOURTH) == "Jul 4"


@given(styles, st.dates(date(1990, 1, 1), date(2030, 1, 1)))
def test_a_week_starts_on_its_weekday_within_the_six_days_before(style, day):
    start = style.week_start(day)
    assert start.weekday() == style.first_weekday
    assert timedelta(0) <= day - start <= timedelta(days=6)


@given(
    styles,
    st.dates(date(2020, 1, 1), date(2026, 1, 1)),
    st.one_of(st.none(), st.integers(0, 300)),
    st.booleans(),
)
def test_every_form_written_reads_back_to_the_same_days(style, first, days, open_start):
    last = None if days is None else first + timedelta(days=days)
    ends = (None, last) if open_start and last else (first, last)
    with using_dates(style):
        text = format_dates(*ends)
    read = parse(text, today=date(2027, 1, 1))
    assert (read.earliest, read.latest) == ends


@pytest.mark.parametrize(
    ("typed", "first_weekday", "start"),
    [
        ("week of 4 July 2026", 0, date(2026, 6, 29)),
        ("week of 4 July 2026", 6, date(2026, 6, 28)),
        ("this week", 6, date(2026, 7, 19)),
        ("last week", 6, date(2026, 7, 12)),
        ("this week", 5, date(2026, 7, 25)),
        ("week 27 2026", 6, date(2026, 6, 29)),  # a numbered week is that of ISO 8601 everywhere
    ],
)
def test_spoken_weeks_begin_on_the_first_weekday(typed, first_weekday, start):
    read = parse(typed, today=date(2026, 7, 25), first_weekday=first_weekday)
    assert (read.earliest, read.latest) == (start, start + timedelta(days=6))


@pytest.mark.parametrize(
    ("typed", "day_first", "month_first"),
    [
        ("4/7/2026", "may be 4 July or 7 April", "may be July 4 or April 7"),
        ("30 Feb 2026", "there is no 30 February", "there is no February 30"),
    ],
)
def test_refusals_name_days_in_the_same_order(typed, day_first, month_first):
    with pytest.raises(InputError, match=day_first):
        parse(typed, today=FOURTH)
    with using_dates(DateStyle("month-first")), pytest.raises(InputError, match=month_first):
        parse(typed, today=FOURTH)
