"""What a garden's counts teach of leaves and their pace, from its records."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from phenology.heat.clocks import CLOCKS
from phenology.learning.garden_fit import GardenFit
from phenology.learning.garden_leaves import GardenLeaves
from tests.phenology.gardens import ELM, MAPLE, Records

END = date(2020, 12, 31)


def counted(seasons, growing="3 3 4", final="6 7 6", tree="elm") -> Records:
    records = Records()
    records.tree("elm")
    records.tree("maple", MAPLE)
    for i, season in enumerate(seasons):
        shift = (0, 4, -3, 6)[i % 4]
        flush = records.a_season(tree, season, 100 + shift, 130 + shift, 160 + shift)
        if growing:
            records.look(flush, 115 + shift, "extending", leaves=growing)
        if final:
            records.look(flush, 140 + shift, "extended", leaves=final)
    return records


def leaves_of(records: Records) -> GardenLeaves:
    return GardenLeaves(GardenFit(records.garden(END)))


def test_the_catalogue_speaks_until_something_is_counted():
    leaves = leaves_of(counted((2018, 2019), growing=None, final=None))
    assert leaves.habits() == [] and leaves.habit(ELM) is None
    low, high = leaves.fit.garden.species[ELM].leaves
    believed = leaves.leaves.of(ELM)
    assert np.exp(believed.mean) == pytest.approx(np.sqrt(low * high))
    days = leaves.fit.garden.species[ELM].prior("budbreak", "extended").days
    assert np.exp(leaves.phyllochron.of(ELM).mean) == pytest.approx(days / np.sqrt(low * high))


def test_counts_tell_the_pace_and_the_number_of_leaves():
    """Three leaves and a third half way, six and a third at the end: both say about six to seven."""
    few, many = (leaves_of(counted(range(2020 - n, 2020))).habit(ELM) for n in (1, 6))
    assert (few.flushes, few.paced, many.flushes) == (1, 1, 6)
    assert many.leaves[0] == pytest.approx(6.33, abs=0.3)
    for a, b in ((many.leaves, few.leaves), (many.days_a_leaf, few.days_a_leaf)):
        assert a[1] < a[0] < a[2] and np.log(a[2] / a[1]) < np.log(b[2] / b[1])
    assert many.degree_days_a_leaf == pytest.approx(many.days_a_leaf[0] * (18 - many.base))


def test_the_pace_is_heat_since_bud_break_over_leaves_counted():
    """With the weather and dates read by hand: bud break between day 98 and 102, 10/3 leaves on day 115."""
    leaves = leaves_of(counted(range(2010, 2020)))
    readings = []
    for i, season in enumerate(range(2010, 2020)):
        shift = (0, 4, -3, 6)[i % 4]
        sums = leaves.fit.garden.thermal_time({(leaves.fit.histories[0].site, season)})
        thermal_time = next(iter(sums.values())).thermal_time
        readings.append(np.log((thermal_time.at(115.0 + shift) - thermal_time.at(100.0 + shift)) / (10 / 3)))
    want = np.mean(readings, axis=0)
    got = leaves.phyllochron.of(ELM).mean
    heat = [c for c, clock in enumerate(CLOCKS) if clock.kind == "sine" and clock.base <= 5]
    assert got[heat] == pytest.approx(want[heat], abs=0.08)


def test_final_counts_alone_tell_the_number_and_not_the_pace():
    habit = leaves_of(counted((2017, 2018, 2019), growing=None, final="9 9 10")).habit(ELM)
    assert habit.paced == 0 and habit.leaves[0] > 8


def test_a_flush_still_growing_tells_its_pace_but_no_number():
    records = counted(())
    flush = records.flush("elm", 2020)
    records.look(flush, 100, "budbreak")
    records.look(flush, 112, "extending", leaves="3 3 3")
    leaves = leaves_of(records)
    assert list(leaves._number_rows()) == [] and len(list(leaves._pace_rows())) == 1
    assert leaves.habit(ELM).paced == 1


def test_seasons_before_the_weather_begins_are_passed_over():
    assert leaves_of(counted((1990, 1991))).habits() == []


def test_counts_after_extended_was_seen_tell_no_pace_to_it():
    records = counted((2019,), growing=None, final=None)
    records.look(records.flushes[-1].id, 145, "extending", leaves="5 5 5")  # contradicts an earlier look
    assert list(leaves_of(records)._number_rows()) == []


def test_species_are_told_apart_and_asked_for_by_name():
    leaves = leaves_of(counted((2018, 2019), tree="maple"))
    assert [h.species for h in leaves.habits()] == [MAPLE]
    assert leaves.habits(ELM) == []
