"""The demo's year, read on eight days: something worth doing on each, and no contradiction."""

from __future__ import annotations

import re
from datetime import date

import pytest

from data_sources.demo.garden import demo_garden
from phenology.advice.garden_forecast import forecast_garden
from phenology.advice.next_steps import coming_steps
from phenology.advice.round import plan_round
from phenology.advice.season_duties import all_care
from reports.text.forecast_text import forecast_text
from reports.text.round_text import round_text
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
def day(request):
    when = date.fromisoformat(request.param)
    return request.param, forecast_garden(read_garden(demo_folder(when), when)[0])


def test_the_round_has_what_the_season_asks(day):
    when, forecast = day
    words = " ".join(round_text(plan_round(forecast), forecast.garden).split())
    for expected in EXPECTED[when]:
        assert expected in words


def test_no_tree_is_told_two_things_that_exclude_each_other(day):
    _, forecast = day
    steps = {}
    for step in coming_steps(forecast):
        steps.setdefault(step.row.tree.label, []).append(step)
    for label, mine in steps.items():
        assert not (
            any(s.refused for s in mine) and any(s.row.advice and s.row.advice.wakes for s in mine)
        ), label
    due = [c for c in all_care(forecast.garden, forecast.rows) if c.due]
    pinched = {c.tree.label for c in due if c.care == "pinching"}
    bare = {c.tree.label for c in due if c.care in ("pruning", "wiring")}
    growing = {
        label for label, mine in steps.items() for s in mine if s.row.operation and s.row.arrival is None
    }
    assert not pinched & bare and not bare & growing
    for visit in plan_round(forecast).visits:
        stop = min((s.last_safe for s in steps.get(visit.tree.label, []) if s.last_safe), default=None)
        if visit.operation == "cutback" and "hard" in visit.because and stop is not None:
            assert forecast.garden.as_of <= stop


def test_no_look_is_planned_after_the_stop(day):
    _, forecast = day
    for step in coming_steps(forecast):
        if step.last_safe is not None:
            assert step.row.look_on <= step.last_safe


def test_the_text_fits_the_terminal_and_gives_odds_in_tenths(day):
    _, forecast = day
    words = forecast_text(forecast)
    assert max(map(len, words.splitlines())) <= 80
    assert not re.search(r"\d%", words)


def test_a_strong_quince_is_bared_outside_in_may_and_its_second_flush_cut_and_halved_in_july():
    garden = demo_garden(date(2026, 12, 31))
    tree = next(t for t in garden.trees if t.label == "Quince 1")
    done = [
        (w.operation, w.latest.month) for w in garden.works if w.tree_id == tree.id and w.latest.year == 2026
    ]
    assert tree.vigour == "strong"
    assert done == [("partial-defoliation", 5), ("cutback", 7), ("halving", 7)]
