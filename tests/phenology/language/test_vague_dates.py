"""Vague dates, as a notebook has them. Today is Saturday 25 July 2026 unless a test says otherwise."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from phenology.language.date_style import MONTHS
from phenology.language.vague_dates import VagueDate, format_dates, parse
from phenology.language.written_days import AmbiguousDateError, MixedDatesError, decide_order
from phenology.model.errors import InputError
from phenology.model.season import SeasonCalendar

TODAY = date(2026, 7, 25)


@pytest.mark.parametrize(
    "typed, shown",
    [
        ("4 July", "4 Jul 2026"),
        ("4 july 2025", "4 Jul 2025"),
        ("July 4th, 2025", "4 Jul 2025"),
        ("the 4th of July", "4 Jul 2026"),
        ("on Saturday, 4 July", "4 Jul 2026"),
        ("4-Jul-2025", "4 Jul 2025"),
        ("4-Jul-25", "4 Jul 2025"),
        ("4. 7. 2025", "4 Jul 2025"),
        ("14 Sept", "14 Sep 2025"),
        ("2025-07-04", "4 Jul 2025"),
        ("2025-07-04 10:33:00", "4 Jul 2025"),
        ("2025-07-04T10:33", "4 Jul 2025"),
        ("20250704", "4 Jul 2025"),
        ("04.07.", "4 Jul 2026"),
        ("04.07.25", "4 Jul 2025"),
        ("25/7/2025", "25 Jul 2025"),
        ("7/25/2025", "25 Jul 2025"),
        ("early July", "1-10 Jul 2026"),
        ("mid-July", "11-20 Jul 2026"),
        ("the middle of July", "11-20 Jul 2026"),
        ("late July", "21-31 Jul 2026"),
        ("end of August", "21-31 Aug 2025"),
        ("late February 2024", "21-29 Feb 2024"),
        ("late February 2023", "21-28 Feb 2023"),
        ("July 2023", "1-31 Jul 2023"),
        ("2023-07", "1-31 Jul 2023"),
        ("about 4 July", "30 Jun-8 Jul 2026"),
        ("ca. 4 July 2025", "30 Jun-8 Jul 2025"),
        ("4 July?", "30 Jun-8 Jul 2026"),
        ("week of 4 July", "29 Jun-5 Jul 2026"),
        ("week 27", "29 Jun-5 Jul 2026"),
        ("2025-W27", "30 Jun-6 Jul 2025"),
        ("first week of July", "1-7 Jul 2026"),
        ("last week of February 2024", "23-29 Feb 2024"),
        ("by 4 July", "by 4 Jul 2026"),
        ("before 4 July", "by 3 Jul 2026"),
        ("before mid July", "by 10 Jul 2026"),
        ("after 4 July", "since 5 Jul 2026"),
        ("after mid July", "since 21 Jul 2026"),
        ("since 4 July", "since 4 Jul 2026"),
        ("by about 4 July", "by 8 Jul 2026"),
        ("2-9 July", "2-9 Jul 2026"),
        ("2–9 July 2024", "2-9 Jul 2024"),
        ("July 2-9, 2024", "2-9 Jul 2024"),
        ("between 2 and 9 July", "2-9 Jul 2026"),
        ("28 June - 3 July", "28 Jun-3 Jul 2026"),
        ("28 Dec-3 Jan", "28 Dec 2025-3 Jan 2026"),
        ("28 Dec-3 Jan 2025", "28 Dec 2024-3 Jan 2025"),
        ("early to mid July", "1-20 Jul 2026"),
        ("June/July", "1 Jun-31 Jul 2026"),
        ("4 or 5 July", "4-5 Jul 2026"),
        ("2025-07-02/2025-07-09", "2-9 Jul 2025"),
        ("02.-09.07.", "2-9 Jul 2026"),
        ("today", "25 Jul 2026"),
        ("yesterday", "24 Jul 2026"),
        ("3 days ago", "22 Jul 2026"),
        ("two weeks ago", "8-14 Jul 2026"),
        ("Saturday", "25 Jul 2026"),
        ("last Saturday", "18 Jul 2026"),
        ("Monday", "20 Jul 2026"),
        ("last week", "13-19 Jul 2026"),
        ("last month", "1-30 Jun 2026"),
    ],
)
def test_what_is_typed_is_understood(typed, shown):
    understood = parse(typed, today=TODAY)
    assert str(understood) == shown
    assert understood.text == typed


@pytest.mark.parametrize(
    "typed, today, year",
    [
        ("4 July", date(2026, 7, 4), 2026),
        ("4 July", date(2026, 7, 3), 2025),
        ("late July", date(2026, 7, 21), 2026),  # it has begun
        ("late July", date(2026, 7, 20), 2025),
        ("31 December", date(2026, 1, 1), 2025),
    ],
)
def test_without_a_year_the_most_recent_such_date_is_meant(typed, today, year):
    assert parse(typed, today=today).earliest.year == year


def test_29_february_without_a_year_asks_for_one_where_the_last_february_was_shorter():
    assert parse("29 February", today=date(2024, 3, 1)).earliest == date(2024, 2, 29)
    for today in (TODAY, date(2025, 3, 1), date(2024, 2, 28)):
        with pytest.raises(InputError, match=r"has no 29 February; write the year with it"):
            parse("29 February", today=today)
    assert parse("28 February", today=date(2024, 2, 27)).earliest == date(2023, 2, 28)
    assert parse("29.2.", today=date(2028, 2, 29)).latest == date(2028, 2, 29)


@pytest.mark.parametrize(
    "typed, sentence",
    [
        ("29 Feb 2023", "there is no 29 February; February 2023 has 28 days"),
        ("31 June", "there is no 31 June; June has 30 days"),
        ("2025-13-01", "there is no month 13"),
        ("Friday 4 July", "4 Jul 2026 is a Saturday, not a Friday"),
        ("9-2 July", "ends before it starts"),
        ("4 July 1205", "the year 1205 looks like a slip"),
        ("week 60", "there is no week 60"),
        ("", "the date is empty"),
        ("when it rained", "is not a date that can be read; write one such as 4 July"),
        ("spring", "is not a date that can be read"),
    ],
)
def test_an_impossible_date_gets_one_clear_sentence(typed, sentence):
    with pytest.raises(InputError, match=sentence) as caught:
        parse(typed, today=TODAY)
    assert "\n" not in str(caught.value)


def test_day_and_month_are_not_guessed_from_one_date():
    with pytest.raises(AmbiguousDateError, match="may be 4 July or 7 April"):
        parse("4/7/2025", today=TODAY)
    assert parse("4/7/2025", today=TODAY, order="day-first").earliest == date(2025, 7, 4)
    assert parse("4/7/2025", today=TODAY, order="month-first").earliest == date(2025, 4, 7)
    assert parse("7/7/2025", today=TODAY).earliest == date(2025, 7, 7)


@pytest.mark.parametrize(
    "file, order",
    [
        (["4/7/2025", "25/7/2025"], "day-first"),
        (["4/7/2025", "7/25/2025"], "month-first"),
        (["2025-07-04", "4 July", "5/5/2025"], None),
        (["04.07.", "05.08."], "day-first"),
        (["about 4/7/2025", "by 30/7"], "day-first"),
        (["4/5 July"], None),  # the fourth or the fifth
        ([], None),
    ],
)
def test_the_order_is_decided_over_the_whole_file(file, order):
    assert decide_order(file) == order


def test_a_file_that_proves_nothing_asks():
    with pytest.raises(AmbiguousDateError, match=r"'4/7/2025' may be day first or month first.*--date-order"):
        decide_order(["4/7/2025", "5/7/2025"])


def test_a_file_that_contradicts_itself_names_both_dates():
    with pytest.raises(
        MixedDatesError, match="'25/7/2025' can only be day first, '7/26/2025' only month"
    ) as e:
        decide_order(["25/7/2025", "4 July", "7/26/2025"])
    assert (e.value.day_first, e.value.month_first) == (0, 2)


@pytest.mark.parametrize(
    "typed, hint",
    [("4 July", "seen"), ("by 4 July", "seen"), ("about 4 July", "happened"), ("mid July", None)],
)
def test_the_words_hint_at_seen_or_happened(typed, hint):
    assert parse(typed, today=TODAY).hint == hint


def test_open_sides_are_closed_by_the_caller_and_nothing_reaches_past_today():
    start = date(2026, 1, 1)
    assert parse("by 4 July", today=TODAY).bounded(start, TODAY) == (start, date(2026, 7, 4))
    assert parse("after 4 July", today=TODAY).bounded(start, TODAY) == (date(2026, 7, 5), TODAY)
    assert parse("late July", today=TODAY).bounded(start, TODAY) == (date(2026, 7, 21), TODAY)
    with pytest.raises(InputError, match="is in the future; today is 25 Jul 2026"):
        parse("tomorrow", today=TODAY).bounded(start, TODAY)


def test_open_sides_are_closed_by_the_season():
    south = SeasonCalendar.for_latitude(-37.0)
    by, after = parse("by 4 Jan 2025", today=TODAY), parse("after 4 Jan 2025", today=TODAY)
    assert by.in_season(south, TODAY) == (date(2024, 7, 1), date(2025, 1, 4))
    assert after.in_season(south, TODAY) == (date(2025, 1, 5), date(2025, 6, 30))
    assert parse("after 4 July", today=TODAY).in_season(south, TODAY) == (date(2026, 7, 5), TODAY)
    with pytest.raises(InputError, match=r"'tomorrow' .* is in the future"):
        parse("tomorrow", today=TODAY).in_season(south, TODAY)


days = st.dates(date(1990, 1, 1), TODAY)


@given(days, st.integers(0, 300))
@settings(max_examples=150)
def test_what_is_shown_back_reads_as_the_same_days(first, width):
    last = first + timedelta(days=width)
    for pair in [(first, last), (first, first), (None, first), (first, None)]:
        again = parse(format_dates(*pair), today=TODAY)
        assert (again.earliest, again.latest) == pair


@given(days)
@settings(max_examples=100)
def test_one_day_written_in_any_way_is_that_day(day):
    month = MONTHS[day.month - 1]
    for typed in (
        day.isoformat(),
        f"{day.day}.{day.month}.{day.year}",
        f"{month} {day.day}, {day.year}",
        f"{day.day} {month[:3].lower()} {day.year}",
        f"{day.year}/{day.month:02d}/{day.day:02d}",
    ):
        assert parse(typed, today=TODAY) == VagueDate(typed, day, day, "seen")
    for order, typed in [("day-first", f"{day:%d/%m/%Y}"), ("month-first", f"{day:%m/%d/%Y}")]:
        assert parse(typed, today=TODAY, order=order).earliest == day


@given(days)
@settings(max_examples=60)
def test_about_reaches_four_days_either_way_and_early_mid_late_fill_the_month(day):
    about = parse(f"about {day.isoformat()}", today=TODAY)
    assert (day - about.earliest, about.latest - day) == (timedelta(days=4), timedelta(days=4))
    month = f"{MONTHS[day.month - 1]} {day.year}"
    early, mid, late = (parse(f"{part} {month}", today=TODAY) for part in ("early", "mid", "late"))
    whole = parse(month, today=TODAY)
    assert (early.earliest, late.latest) == (whole.earliest, whole.latest)
    assert mid.earliest - early.latest == late.earliest - mid.latest == timedelta(days=1)


@given(st.text(max_size=20))
@settings(max_examples=300)
def test_any_text_is_a_date_or_one_sentence(text):
    try:
        found = parse(text, today=TODAY)
    except InputError as error:
        assert str(error)
    else:
        assert found.earliest is None or found.latest is None or found.earliest <= found.latest


@pytest.mark.parametrize(
    "typed, days",
    [
        ("Ende Juni 2004", "21-30 Jun 2004"),
        ("Mitte März 2004", "11-20 Mar 2004"),
        ("15. Okt. 2004", "15 Oct 2004"),
        ("1er mars 2004", "1 Mar 2004"),
        ("début août 2010", "1-10 Aug 2010"),
        ("principios de abril de 2010", "1-10 Apr 2010"),
        ("3 de mayo de 2004", "3 May 2004"),
        ("metà aprile 2009", "11-20 Apr 2009"),
        ("fine giugno 2004", "21-30 Jun 2004"),
        ("eind mei 2011", "21-31 May 2011"),
        ("12 mrt. 2011", "12 Mar 2011"),
        ("um den 4. Juli 2004", "30 Jun-8 Jul 2004"),
        ("vor dem 4. Juli 2004", "by 3 Jul 2004"),
    ],
)
def test_date_words_of_five_more_languages_are_read(typed, days):
    found = parse(typed, today=TODAY)
    assert (found.text, str(found)) == (typed, days)


@pytest.mark.parametrize("word", ["Rückschnitt", "qqqq 2004", "Ende", "der 2004"])
def test_foreign_words_that_are_no_date_stay_none(word):
    with pytest.raises(InputError, match=f"'{word}'"):
        parse(word, today=TODAY)


def test_a_day_without_a_year_that_comes_sooner_than_it_went_says_so():
    assert parse("1 June", today=date(2026, 5, 20)).ahead == date(2026, 6, 1)
    assert parse("about 1 June", today=date(2026, 5, 20)).ahead == date(2026, 6, 1)
    for typed in ("1 June 2025", "20 December", "1 May"):
        assert parse(typed, today=date(2026, 5, 20)).ahead is None
