"""Which row of a flush is shown: what its grower has to decide next."""

from __future__ import annotations

import pytest

from phenology.advice.garden_forecast import forecast_garden
from phenology.advice.next_steps import deciding_steps
from reports.text.forecast_text import forecast_text
from tests.phenology.gardens import ELM, Records, day


def never_looked_at() -> Records:
    records = Records()
    records.tree("elm", ELM)
    return records


@pytest.mark.parametrize("n, stage", [(60, "budbreak"), (200, "hardened"), (290, "hardened")])
def test_a_bud_break_that_is_long_past_gives_way_to_hardening(n, stage):
    [step] = deciding_steps(forecast_garden(never_looked_at().garden(day(2020, n))))
    assert step.row.stage == stage


def test_buds_seen_closed_late_are_still_waited_for():
    records = never_looked_at()
    flush = records.flush("elm", 2020)
    records.look(flush, 150, "dormant")
    [step] = deciding_steps(forecast_garden(records.garden(day(2020, 150))))
    assert step.row.stage == "budbreak"


def test_two_flushes_side_by_side_are_told_apart():
    records = never_looked_at()
    first = records.flush("elm", 2020)
    records.look(first, 95, "budbreak")
    records.look(first, 130, "extending")
    work = records.work("elm", 2020, 150, "partial-defoliation", part="top", early=True)
    records.flush("elm", 2020, "work", started_on=day(2020, 150), work_id=work, part="top")
    text = forecast_text(forecast_garden(records.garden(day(2020, 155))))
    assert "elm (flush 1): look" in text and "elm (flush 2): look" in text


def test_a_single_flush_needs_no_number():
    assert "(flush" not in forecast_text(forecast_garden(never_looked_at().garden(day(2020, 60))))


def test_in_november_nobody_is_sent_to_look_at_a_tree_that_was_never_looked_at():
    forecast = forecast_garden(never_looked_at().garden(day(2020, 330)))
    assert [step.row.stage for step in deciding_steps(forecast)] == []
    assert "look weekly" not in forecast_text(forecast)
