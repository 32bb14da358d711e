"""How countries write dates: the tables of CLDR, through babel."""

from __future__ import annotations

import pytest

from data_sources.country_dates import country_dates


# By hand from CLDR's charts of date patterns and of week data (https://cldr.unicode.org, version of babel).
@pytest.mark.parametrize(
    ("timezone", "order", "first_weekday"),
    [
        ("America/Chicago", "month-first", "sunday"),
        ("Pacific/Honolulu", "month-first", "sunday"),
        ("Asia/Tokyo", "month-first", "sunday"),
        ("Europe/London", "day-first", "monday"),
        ("Europe/Zurich", "day-first", "monday"),
        ("Australia/Hobart", "day-first", "monday"),
        ("America/Sao_Paulo", "day-first", "sunday"),
        ("Asia/Kolkata", "day-first", "sunday"),
        ("Africa/Cairo", "day-first", "saturday"),
        ("America/Toronto", None, "sunday"),  # d/M in figures, MMM d in words
        ("Africa/Johannesburg", None, "sunday"),
    ],
)
def test_a_zone_tells_order_and_first_weekday(timezone, order, first_weekday):
    found = country_dates(timezone)
    assert found is not None
    assert (found.order, found.first_weekday) == (order, first_weekday)


@pytest.mark.parametrize("timezone", ["Etc/UTC", "Antarctica/Troll", "", "Nowhere/Town"])
def test_a_zone_of_no_country_tells_nothing(timezone):
    assert country_dates(timezone) is None


def test_what_the_tables_do_not_know_is_left_open():
    """Malta's own language has only the world's pattern, so nothing is concluded from it."""
    found = country_dates("Europe/Malta")
    assert found is not None and found.order is None
