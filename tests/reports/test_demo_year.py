"""The demo's year, read on eight days: something worth doing on each, and no contradiction."""

from __future__ import annotations

import re
from collections import Counter
from datetime import date, timedelta

import icalendar
import pytest

from data_sources.demo.garden import demo_garden
from phenology.advice.agenda import Section, make_agenda, plan_round
from phenology.advice.alike import alike
from phenology.advice.garden_forecast import forecast_garden
from reports.views.ahead_text import round_text
from reports.views.calendar_file import calendar_text
from reports.views.forecast_text import forecast_text
from reports.views.words import tree_names
from tests.reports.demo import YEAR, demo_folder
from tests.reports.opened import read_garden

EXPECTED = {
    "2026-03-15": ("fat, scales parting", "roots fill the pot"),
    "2026-04-20": ("take off the soft tips",),
    "2026-05-15": ("flowers fade",),
    "2026-06-14": ("leaves firm", "buds moving in the axils"),
    "2026-08-01": ("leaves firm",),
    "2026-09-15": ("If still hard: halving",),
    "2026-11-15": ("structural pruning", "pots out of hard frost", "cuts put off in summer"),
    "2026-12-20": ("wire bare branches",),
}
"""What the round of each day must hold, in words."""


@pytest.fixture(scope="module", params=YEAR)
def forecast(request):
    when = date.fromisoformat(request.param)
    return forecast_garden(read_garden(demo_folder(when), when)[0])


@pytest.fixture(scope="module")
def day(forecast):
    return forecast.garden.as_of.isoformat(), make_agenda(forecast)


def test_the_round_has_what_the_season_asks(day):
    when, agenda = day
    words = " ".join(round_text(plan_round(agenda)).split())
    for expected in EXPECTED[when]:
        assert expected in words


def test_every_living_tree_is_told_once_with_a_date(day):
    _, agenda = day
    trees = agenda.garden.standing_trees
    assert sorted(row.tree.label for row in agenda.rows) == sorted(tree.label for tree in trees)
    for row in agenda.rows:
        assert row.reason and row.ahead is not None and row.ahead.date_at(0.5) is not None
    told = [line.partition(":")[0] for line in forecast_text(agenda, 10_000).splitlines()]
    groups = [tree_names(group.labels) for section in Section for group in alike(agenda.of(section))]
    for names in groups:
        assert names in told
    assert sum(len(group.labels) for section in Section for group in alike(agenda.of(section))) == len(trees)


def test_forecast_and_round_name_the_same_trees_for_today(day):
    _, agenda = day
    looks = {visit.tree.label for visit in plan_round(agenda).visits if visit.look}
    assert looks == {row.tree.label for row in agenda.of(Section.TODAY)}


def test_no_tree_is_told_two_things_that_exclude_each_other(day):
    _, agenda = day
    steps = {}
    for step in agenda.coming:
        steps.setdefault(step.tree.label, []).append(step)
    for label, mine in steps.items():
        assert not (any(s.refused for s in mine) and any(s.advice and s.advice.wakes for s in mine)), label
    due = [c for c in agenda.care if c.due]
    pinched = {c.tree.label for c in due if c.care == "pinching"}
    bare = {c.tree.label for c in due if c.care in ("pruning", "wiring")}
    growing = {label for label, mine in steps.items() for s in mine if s.operation and s.arrival is None}
    assert not pinched & bare and not bare & growing
    for visit in plan_round(agenda).visits:
        stop = min((s.last_safe for s in steps.get(visit.tree.label, []) if s.last_safe), default=None)
        if visit.operation == "cutback" and "hard" in visit.because and stop is not None:
            assert agenda.garden.as_of <= stop


def test_no_look_is_planned_after_the_stop(day):
    _, agenda = day
    for step in agenda.coming:
        if step.last_safe is not None:
            assert step.look_on <= step.last_safe


def test_the_text_fits_the_terminal_and_gives_odds_in_tenths(day):
    _, agenda = day
    words = forecast_text(agenda)
    for width in (40, 60, 80, 120):
        assert max(map(len, forecast_text(agenda, width).splitlines())) <= width
    assert not re.search(r"\d%", words)


def test_a_tree_has_at_most_three_events_a_month_and_an_alarm_for_each_that_asks_something(forecast):
    events = icalendar.Calendar.from_ical(calendar_text(forecast, "Larkfield")).walk("VEVENT")
    months = Counter((str(e["SUMMARY"]).split(":")[0], f"{e['DTSTART'].dt:%Y-%m}") for e in events)
    assert events and max(months.values()) <= 3, months.most_common(3)
    for event in events:
        alarms = [alarm["TRIGGER"].dt for alarm in event.walk("VALARM")]
        assert alarms == ([] if event["CATEGORIES"].to_ical() == b"window" else [timedelta(hours=7)])


def test_a_strong_quince_is_bared_outside_in_may_and_its_second_flush_cut_and_halved_in_july():
    garden = demo_garden(date(2026, 12, 31))
    tree = next(t for t in garden.trees if t.label == "Quince 1")
    done = [
        (w.operation, w.latest.month) for w in garden.works if w.tree_id == tree.id and w.latest.year == 2026
    ]
    assert tree.vigour == "strong"
    assert done == [("partial-defoliation", 5), ("cutback", 7), ("halving", 7)]
