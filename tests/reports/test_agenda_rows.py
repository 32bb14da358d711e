"""Rows of the agenda cannot mislead: one scale, stops on top, looks drawn, refused trees like the rest."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from functools import cache

import numpy as np
import pytest

from phenology.advice.agenda import Section, make_agenda
from phenology.advice.garden_forecast import forecast_garden
from phenology.forecasting.arrival import Arrival
from reports.charts.agenda_rows import Line, agenda_lines, axis_of, row_end, row_marks, step_marks, stop_of
from reports.charts.ink import PALETTES
from reports.charts.row_drawing import FORMS, Mark, in_order, svg_row
from tests.reports.demo import DAY
from tests.reports.pages import crowd, demo, sheltered, unseen

WINTER = date(2026, 1, 20)


@cache
def agenda():
    return make_agenda(forecast_garden(demo()[0]))


@cache
def winter():
    return make_agenda(forecast_garden(demo(WINTER)[0]))


def row_of(label, of=None):
    return next(row for row in (of or agenda()).rows if row.tree.label == label)


def marks_of(label, kind, of=None):
    of = of or agenda()
    return [mark for mark in row_marks(row_of(label, of), of.garden) if mark.kind == kind]


def day_of(mark):
    return date.fromordinal(int(mark.first))


def luminance(colour):
    """Of an sRGB colour: w3.org/TR/WCAG22, relative luminance."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_a_vague_forecast_is_drawn_as_wide_as_it_is_and_no_fainter():
    """Strips used to be scaled to their own peak, so that a vague one looked as sure as a sharp one."""
    step = row_of("Beech").lead
    days = np.arange(len(step.arrival.curve))

    def drawn(spread):
        curve = 1 / (1 + np.exp(-(days - 170) / spread))
        return {m.kind: m for m in step_marks(replace(step, arrival=Arrival(curve)))}

    sharp, vague = drawn(2.0), drawn(8.0)
    for kind in ("range", "half"):
        assert vague[kind].last - vague[kind].first == pytest.approx(
            4 * (sharp[kind].last - sharp[kind].first), rel=0.1
        )
        assert vague[kind].size == sharp[kind].size == 1.0
    assert sharp["range"].first < sharp["half"].first < sharp["half"].last < sharp["range"].last


def test_bars_span_the_dates_that_the_words_name():
    step = row_of("Beech").lead
    bars = {m.kind: m for m in step_marks(step)}
    assert day_of(bars["range"]) == step.date_at(0.1)
    assert date.fromordinal(int(bars["range"].last)) == step.date_at(0.9)
    assert day_of(bars["half"]) == step.date_at(0.25)


@pytest.mark.parametrize("label", ["Beech", "Hornbeam 2", "Elm"])
def test_the_stop_lies_on_top_of_every_bar_and_the_bar_on_the_tint(label):
    """A likelihood strip used to be painted over the stop."""
    axis = axis_of(agenda(), agenda_lines(agenda()))
    kinds = [m.kind for m in in_order(row_marks(row_of(label), agenda().garden), axis)]
    assert kinds[-1] == "stop" and kinds[0] == "late"
    assert kinds.index("late") < kinds.index("range") < kinds.index("half") < kinds.index("today")
    svg = svg_row(row_marks(row_of(label), agenda().garden), axis)
    assert svg.rindex('class="stop"') > svg.rindex("<rect") > svg.index('class="late"')


def test_too_late_begins_where_the_stop_stands():
    for row in agenda().rows:
        late, stop = marks_of(row.tree.label, "late"), marks_of(row.tree.label, "stop")
        assert [m.first for m in late] == [m.first for m in stop], row.tree.label
        assert not stop or day_of(stop[0]) == stop_of(row) + timedelta(days=1)


def test_trees_that_may_not_be_cut_show_their_stop_too():
    """They used to get the cleanest strip of all."""
    elm = row_of("Elm")
    assert elm.section is Section.LEAVE and row_end(elm) == "too late"
    assert marks_of("Elm", "stop") and marks_of("Elm", "late") and marks_of("Elm", "range")
    assert len(agenda_lines(agenda())) == len(agenda().garden.standing_trees)


def test_every_look_that_is_asked_for_is_drawn():
    for row in agenda().rows:
        label, looks = row.tree.label, {s.look_on for s in row.told if s.decides and s.look_on > DAY}
        assert {day_of(m) for m in marks_of(label, "look")} == looks, label
        assert bool(marks_of(label, "now")) == (row.section is Section.TODAY), label


def test_what_was_seen_and_done_this_season_is_drawn():
    garden, tree = agenda().garden, row_of("Hornbeam 1").tree
    start = garden.calendar.start(garden.season)
    looks = {look.latest for look in garden.looks_by_tree[tree.id] if look.latest >= start}
    assert len(marks_of("Hornbeam 1", "seen")) == len(looks)
    assert [day_of(m) for m in marks_of("Hornbeam 1", "work")] == [date(2026, 6, 6)]


def test_a_guess_is_dotted_and_never_a_bar():
    guesses = make_agenda(forecast_garden(unseen(demo(WINTER)[0])))
    for row in guesses.rows:
        kinds = {mark.kind for mark in row_marks(row, guesses.garden)}
        assert "guess" in kinds and not kinds & {"range", "half"}
    for label in ("Beech", "Elm"):
        (wide,), (narrow,) = marks_of(label, "guess", guesses), marks_of(label, "range", winter())
        assert wide.last - wide.first > narrow.last - narrow.first


def test_trees_without_dates_get_a_rhythm_of_looks_and_no_bar():
    dark = make_agenda(forecast_garden(sheltered(demo(WINTER)[0])))
    for row in dark.rows:
        days = [m.first for m in row_marks(row, dark.garden) if m.kind == "look"]
        assert len(days) > 1 and set(np.diff(days)) == {7.0} and row_end(row) == "weekly"
        assert not {"range", "half", "guess", "stop"} & {m.kind for m in row_marks(row, dark.garden)}


@pytest.mark.parametrize(
    "label, end",
    [("Beech", "by 29 Jun"), ("Hornbeam 1", "likely late"), ("Elm", "too late"), ("Zelkova", "no cutting"),
     ("Maple 2", "note only"), ("Azalea", "by 21 Jul"), ("Quince 2", "buds 27 Mar")],
)  # fmt: skip
def test_each_row_ends_in_a_few_words(label, end):
    assert row_end(row_of(label)) == end


def test_the_axis_holds_the_season_and_a_phone_ten_weeks_of_it():
    axis = axis_of(agenda(), agenda_lines(agenda()))
    assert axis.first.weekday() == 0 and axis.days % 7 == 0
    assert axis.first <= date(2026, 3, 1) and axis.first + timedelta(days=axis.days) >= date(2026, 11, 1)
    assert axis.window == (date(2026, 6, 1), 70)
    spring = axis_of(winter(), agenda_lines(winter()))
    assert spring.window[1] > 70  # what comes lies further ahead


def test_very_many_trees_are_a_line_a_species_with_a_tick_a_tree():
    many = make_agenda(forecast_garden(crowd(demo()[0], 48)))
    lines = agenda_lines(many)
    assert len(lines) == len({row.tree.species for row in many.rows})
    beeches = next(line for line in lines if line.name == "Japanese beech ×4")
    kinds = [m.kind for m in beeches.marks]
    assert "tick" in kinds and "stop" in kinds and "range" not in kinds
    stops = [stop_of(row) for row in beeches.rows]
    assert day_of(next(m for m in beeches.marks if m.kind == "stop")) == min(stops) + timedelta(days=1)


def test_a_tree_apart_from_its_herd_is_named():
    beech, elm = row_of("Beech"), row_of("Elm")
    herd = [replace(beech, tree=replace(beech.tree, label=f"Beech {n}")) for n in range(9)]
    line = Line("Beech", "", (*herd, elm), ())
    assert line.outliers == [("Elm", elm.lead.date_at(0.5))]
    assert Line("Beech", "", (*herd[:2], elm), ()).outliers == []  # a third of a herd is no outlier


@pytest.mark.parametrize("scheme", PALETTES)
def test_every_mark_stands_out_from_what_it_lies_on(scheme):
    """At least 3 to 1 (w3.org/TR/WCAG22, 1.4.11). Lines, dots and rings have an edge of paper all round."""
    ink = PALETTES[scheme]
    for ground in ("paper", "late"):
        assert contrast(ink["range"], ink[ground]) >= 3, ground
    for mark in ("ink", "soft", "wash"):
        assert contrast(ink[mark], ink["paper"]) >= 3, mark
    for text in ("ink", "soft"):
        assert min(contrast(ink[text], ink[ground]) for ground in ("paper", "card")) >= 4.5, text
    assert FORMS["half"].half >= 2 * FORMS["range"].half  # told apart by height, not by shade alone


def test_a_mark_beyond_the_axis_is_not_drawn_at_its_edge():
    axis = axis_of(agenda(), agenda_lines(agenda()))
    after = float(axis.first.toordinal() + axis.days + 40)
    assert [m.kind for m in in_order([Mark.at("stop", after)], axis)] == ["today"]
