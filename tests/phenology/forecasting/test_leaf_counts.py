"""Leaf counts in the forecast: they move `extended` and what follows, and cost gardens without none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from phenology.advice.garden_forecast import forecast_garden
from phenology.learning import garden_leaves
from phenology.learning.leaf_counts import FlushCounts
from tests.phenology.gardens import Records, day

PAST = (2016, 2017, 2018, 2019)
NOW = 116


def nursery(*, counted_before: bool = True) -> Records:
    records = Records()
    records.tree("elm")
    for i, season in enumerate(PAST):
        shift = (0, 4, -3, 6)[i]
        flush = records.a_season("elm", season, 100 + shift, 130 + shift, 160 + shift)
        if counted_before:
            records.look(flush, 115 + shift, "extending", leaves="3 3 4")
            records.look(flush, 140 + shift, "extended", leaves="6 7 6")
    return records


def rows_with(leaves: str | None, *, counted_before: bool = True, stage: str = "extending", **more):
    records = nursery(counted_before=counted_before)
    flush = records.flush("elm", 2020)
    for n, seen in ((98, "dormant"), (103, "budbreak")):
        records.look(flush, n, seen)
    records.look(flush, NOW, stage, leaves=leaves, **more)
    return {r.stage: r for r in forecast_garden(records.garden(day(2020, NOW))).rows}


def median(rows, stage="extended"):
    return rows[stage].arrival.quantile(0.5)


def width(rows, stage="extended"):
    return rows[stage].arrival.quantile(0.9) - rows[stage].arrival.quantile(0.1)


@pytest.mark.parametrize("counted_before", [False, True])
def test_more_leaves_by_the_same_day_bring_extended_and_hardened_forward(counted_before):
    few, usual, many = (rows_with(t, counted_before=counted_before) for t in ("2 2 3", "3 3 4", "4 5 4"))
    for stage in ("extended", "hardened"):
        assert median(many, stage) < median(usual, stage) < median(few, stage)


def test_a_count_narrows_the_range_more_where_finished_flushes_were_counted():
    plain = width(rows_with(None))
    assert width(rows_with("3 3 4")) < plain
    early = [width(rows_with("4 4 5", counted_before=c)) for c in (True, False)]
    assert early[0] < early[1]


def test_a_count_as_in_other_years_moves_the_middle_little():
    assert median(rows_with("3 3 4")) == pytest.approx(median(rows_with(None)), abs=3)


@pytest.mark.parametrize(
    "leaves, more",
    [
        ("lots", {}),
        ("0 0 0", {}),
        ("300", {}),
        ("3 3 4", {"checked": True}),
    ],
)
def test_odd_counts_leave_the_forecast_as_it_was(leaves, more):
    odd, plain = rows_with(leaves, **more), rows_with(None, **more)
    for stage, row in plain.items():
        assert np.array_equal(row.arrival.curve, odd[stage].arrival.curve)


def test_an_absurd_count_moves_nothing():
    plain, absurd = rows_with(None), rows_with("25 30")
    for stage, row in plain.items():
        assert absurd[stage].arrival.curve == pytest.approx(row.arrival.curve, abs=0.005)


def test_a_count_with_a_vague_date_says_less_than_one_with_a_day():
    def moved(**dates):
        records = nursery()
        flush = records.flush("elm", 2020)
        for n, seen in ((98, "dormant"), (103, "budbreak")):
            records.look(flush, n, seen)
        records.look(flush, dates["first"], "extending", until=dates["last"], leaves="4 5 5")
        rows = {r.stage: r for r in forecast_garden(records.garden(day(2020, 118))).rows}
        bare = replace(records.looks[-1], leaves=None)
        records.looks[-1:] = [bare]
        plain = {r.stage: r for r in forecast_garden(records.garden(day(2020, 118))).rows}
        return median(plain) - median(rows)

    assert moved(first=115, last=115) > moved(first=112, last=118) > 0


def test_a_count_of_a_later_flush_is_used_as_well():
    def forecast(leaves):
        records = nursery()
        records.a_season("elm", 2020, 100, 130, 150)
        work = records.work("elm", 2020, 155, "cutback")
        flush = records.flush("elm", 2020, "work", started_on=day(2020, 155), work_id=work)
        records.look(flush, 165, "dormant")
        records.look(flush, 170, "budbreak")
        records.look(flush, 178, "extending", leaves=leaves)
        return {r.stage: r for r in forecast_garden(records.garden(day(2020, 178))).rows}

    assert median(forecast("4 4 5")) < median(forecast(None)) < median(forecast("1 1 1"))


def test_nothing_ends_before_the_look_that_counted():
    rows = rows_with("6 6 7")
    assert rows["extended"].arrival.chance_by(NOW) == 0
    assert rows["extended"].arrival.quantile(0.5) < rows["hardened"].arrival.quantile(0.5)


def test_a_first_look_in_mid_flush_tells_from_its_count_when_buds_broke():
    def first_look(leaves):
        records = nursery()
        records.look(records.flush("elm", 2020), NOW, "extending", leaves=leaves)
        return {r.stage: r for r in forecast_garden(records.garden(day(2020, NOW))).rows}

    assert median(first_look("5 5 5")) < median(first_look("2 2 2"))


def unwired(monkeypatch):
    """The forecast as it is without this capability."""
    monkeypatch.setattr(garden_leaves.GardenLeaves, "counts", lambda *_: FlushCounts())


def test_flushes_without_counts_are_forecast_exactly_as_before_and_pay_nothing(monkeypatch):
    def never(*_args, **_more):
        raise AssertionError("nothing was counted in this flush: nothing is to be learned for it")

    monkeypatch.setattr(garden_leaves, "learn", never)
    wired = [rows_with(None, counted_before=c) for c in (True, False)]
    unwired(monkeypatch)
    for rows, counted_before in zip(wired, (True, False), strict=True):
        for stage, row in rows_with(None, counted_before=counted_before).items():
            assert np.array_equal(row.arrival.curve, rows[stage].arrival.curve)


def test_with_counts_it_is_this_that_moves_the_forecast(monkeypatch):
    counted = rows_with("5 5 6")
    unwired(monkeypatch)
    assert median(rows_with("5 5 6")) == median(rows_with(None)) > median(counted)
