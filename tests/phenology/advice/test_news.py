"""What is worth a message: each rule, where it sends and where it keeps quiet."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from functools import cache

import pytest

from phenology.advice.agenda import Agenda, make_agenda
from phenology.advice.care import CareDue
from phenology.advice.forecast_change import STOP, Issued
from phenology.advice.garden_forecast import forecast_garden
from phenology.advice.news import CLOSES_DAYS, DIGEST_DAYS, News, Told, all_told
from phenology.advice.news import news as news_of
from phenology.advice.visits import Visit
from tests.phenology.gardens import Records, day

TODAY = day(2020, 150)
HARD = ("Elm", 2020, 1, "hardened")


@cache
def agenda() -> Agenda:
    """An elm whose shoots have stopped, to be looked at today, and a building one that is left."""
    past, days = (2017, 2018, 2019), (100, 130, 150)
    records = Records.of("Elm", past=past, days=days, last_repot=day(2019, 60))
    records.seen("Elm", 2020, (100, "budbreak"), (131, "extended"))
    return make_agenda(forecast_garden(records.garden(TODAY)))


@cache
def now() -> Told:
    return all_told(agenda())


def news(of: Agenda, before: Told) -> News:
    return news_of(of, now(), before)


def ago(days: int) -> date:
    return TODAY - timedelta(days=days)


def told(days: int = DIGEST_DAYS, **more) -> Told:
    """As of today, but told some days ago; `more` in place of what was told."""
    return replace(news(agenda(), Told()).told, on=ago(days), **more)


def shifted(days: float, width: float) -> dict:
    """The hardening as told so many days earlier, inside a range of this half width."""
    middle = told().issued[HARD].middle
    assert middle is not None
    return {HARD: Issued(middle - days - width, middle - days, middle - days + width)}


def test_the_first_message_tells_of_today_s_trees_and_of_nothing_that_moved():
    first = news(agenda(), Told())
    assert [row.tree.label for row in first.looks] == ["Elm"]
    assert first.since is None and first.changes == () and first.worth_sending


@pytest.mark.parametrize("days", [0, 1, 6, 7, 30])
def test_what_was_told_is_not_told_again(days):
    again = news(agenda(), told(days))
    assert not again.worth_sending and again.looks == () and again.changes == ()


@pytest.mark.parametrize(
    ("days", "width", "is_news"),
    [(2.5, 1.0, False), (5.0, 6.0, False), (5.0, 3.0, True), (-5.0, 3.0, True), (-5.0, 6.0, False)],
)
def test_a_date_is_news_that_moved_by_three_days_and_out_of_its_range(days, width, is_news):
    found = news(agenda(), told(issued=shifted(days, width)))
    assert [c.stage for c in found.changes] == (["hardened"] if is_news else [])
    assert found.worth_sending == is_news
    if is_news:
        assert abs(found.changes[0].days) == abs(days) and found.changes[0].why == ""


@pytest.mark.parametrize(("days", "sent"), [(1, False), (DIGEST_DAYS - 1, False), (DIGEST_DAYS, True)])
def test_a_digest_waits_until_the_week_is_over(days, sent):
    found = news(agenda(), told(days, issued=shifted(8.0, 2.0), today=frozenset()))
    assert len(found.changes) == len(found.looks) == 1 and found.worth_sending == sent


@pytest.mark.parametrize(("by", "is_news"), [(2, False), (3, True), (-10, True)])
def test_a_stop_date_is_news_that_moved_by_three_days(by, is_news):
    stops = {tree: last - by for tree, last in told().stops.items()}
    assert stops
    found = news(agenda(), told(stops=stops))
    assert [(c.stage, c.days) for c in found.changes] == ([(STOP, by)] if is_news else [])


def with_window(days: int) -> Agenda:
    """The same, the elm's window closing in some days."""
    (row,) = agenda().rows
    visits = tuple(replace(v, by=TODAY + timedelta(days=days)) if v.step else v for v in row.visits)
    assert any(isinstance(v, Visit) and v.step for v in visits)
    return replace(agenda(), rows=(replace(row, visits=visits),))


@pytest.mark.parametrize(("days", "presses"), [(0, True), (CLOSES_DAYS, True), (CLOSES_DAYS + 1, False)])
def test_a_window_that_closes_does_not_wait_for_the_week(days, presses):
    found = news(with_window(days), told(1))
    assert found.worth_sending == found.presses == presses


def test_a_closing_window_is_told_once_unless_it_closes_sooner():
    first = news(with_window(6), told(1))
    assert not news(with_window(6), replace(first.told, on=ago(1))).worth_sending
    assert not news(with_window(5), replace(first.told, on=ago(1))).worth_sending
    assert news(with_window(2), replace(first.told, on=ago(1))).worth_sending


def with_weather(first: int, last: int, care: str = "frost") -> Agenda:
    (tree,) = agenda().garden.trees
    days = TODAY + timedelta(days=first), TODAY + timedelta(days=last)
    spell = CareDue(tree, care, *days, "soft growth under cover overnight", None, first <= 0, look=False)
    return replace(agenda(), care=(spell,))


@pytest.mark.parametrize(
    ("first", "care", "sent"), [(0, "frost", True), (3, "heat", True), (4, "frost", False)]
)
def test_frost_and_heat_near_ahead_do_not_wait(first, care, sent):
    found = news(with_weather(first, first + 1, care), told(1))
    assert found.worth_sending == sent and len(found.weather) == sent


def test_a_spell_is_told_once_however_its_days_shift():
    first = news(with_weather(1, 2), told(1)).told
    later = news(with_weather(0, 4), replace(first, on=ago(1)))
    assert not later.worth_sending
    assert max(later.unsent.alerts.values()) == TODAY + timedelta(days=4)  # it goes on, told of already
    assert not news(with_weather(3, 6), replace(later.unsent, on=ago(1))).worth_sending
    gone = replace(first, alerts={key: ago(3) for key in first.alerts})
    assert news(with_weather(1, 2), gone).worth_sending  # another one


def test_a_new_season_begins_with_today_s_trees_alone():
    found: News = news(agenda(), told(200, issued=shifted(30.0, 2.0)))
    assert found.changes == () and len(found.looks) == 1
