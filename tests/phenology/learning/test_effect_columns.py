"""Which effect stands in which column, and the priors on how large each may be."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from phenology.heat.clocks import DAYS_CLOCK, HEAT_CLOCKS
from phenology.learning.effect_columns import (
    CELLS,
    NOISE,
    SEASONS,
    SETTINGS,
    SLOPE_SD,
    TREES,
    Columns,
)
from tests.phenology.worlds import a_wait

WAITS = [
    a_wait(2003, 150, 156, tree="t1", anchor=(110, 110)),
    a_wait(2004, 150, 156, tree="t1", anchor=(130, 130)),
    a_wait(2004, 140, 146, tree="u1", species="B", anchor=(100, 104)),
    a_wait(2004, 220, 226, tree="u1", species="B", anchor=(190, 190), later=True),
]
COLUMNS = Columns.of(WAITS)


@pytest.mark.parametrize("spreads", [NOISE, TREES, SEASONS, CELLS])
def test_the_weights_of_a_spread_sum_to_one(spreads):
    assert_allclose(sum(weight for _, weight in spreads), 1)


def test_the_weights_of_all_settings_sum_to_one():
    assert len(SETTINGS) == len(NOISE) * len(TREES) * len(SEASONS) * len(CELLS)
    assert_allclose(np.exp([s.log_prior for s in SETTINGS]).sum(), 1)


FIRST = COLUMNS.shared - 7  # species, seasons and cells come last


def test_columns_end_with_species_seasons_cells():
    assert COLUMNS.species == ("A", "B")
    assert COLUMNS.seasons == (2003, 2004)
    assert COLUMNS.cells == (("A", 2003), ("A", 2004), ("B", 2004))
    assert COLUMNS.trees == ("t1", "u1")
    row = COLUMNS.row("A", 2004, False, 120.0)
    assert row[:2].tolist() == [1, 0]  # common to all, and not a later flush
    assert row[FIRST:].tolist() == [1, 0, 0, 1, 0, 1, 0]
    assert COLUMNS.row("B", 2004, True, 190.0)[[0, 1, FIRST + 1]].tolist() == [1, 1, 1]


def test_a_usual_beginning_has_no_lateness_and_a_late_one_has():
    assert (COLUMNS.row("A", 2011, False, 120.0)[2:FIRST] == 0).all()
    assert COLUMNS.row("A", 2011, False, 130.0)[2:FIRST].sum() == pytest.approx(1)


def test_lateness_counts_in_tens_of_days_from_the_usual_of_its_species_and_kind():
    assert_allclose(COLUMNS.lateness("A", False, 110), -1)
    assert_allclose(COLUMNS.lateness("B", False, 112), 1)
    assert_allclose(COLUMNS.lateness("B", True, 185), -0.5)
    assert COLUMNS.lateness("C", False, 300) == 0


def test_a_name_never_seen_has_no_column():
    row = COLUMNS.row("C", 2011, True, 120.0)
    assert row[:2].tolist() == [1, 1]
    assert (row[2:] == 0).all()


def known(clocks: int, *species: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Variances known beforehand, alike on some clocks: common, later, species."""
    return np.full(clocks, 0.02), np.full(clocks, 0.04), np.tile(species, (clocks, 1))


def test_an_odd_season_and_its_cells_may_lie_further_out():
    odd = np.array([[1.0, 0.25]])
    got = COLUMNS.prior_variances(HEAT_CLOCKS[:1], 0.2, odd, known(1, 0.09, 0.16))
    for (cell, _), of_cell in zip(CELLS, got[0], strict=True):
        assert_allclose(of_cell[:2], [0.02, 0.04])
        assert_allclose(of_cell[FIRST : FIRST + 2], [0.09, 0.16])
        assert_allclose(of_cell[FIRST + 2 : FIRST + 4], [0.04, 0.16])
        assert_allclose(of_cell[FIRST + 4 :], cell**2 * np.array([1, 4, 4]))


def test_plain_days_may_answer_twice_as_much_to_a_late_start():
    got = COLUMNS.prior_variances([HEAT_CLOCKS[0], DAYS_CLOCK], 0.1, np.ones((2, 2)), known(2, 1.0, 1.0))
    assert_allclose(got[:, 0, 2], [SLOPE_SD**2, 4 * SLOPE_SD**2])


def test_the_few_columns_of_a_species_say_what_its_design_rows_say():
    rows = COLUMNS.rows(WAITS)
    design = np.array([COLUMNS.row(w.species, w.season, w.later, w.anchor_middle) for w in WAITS])
    assert_allclose(np.einsum("nq,nqp->np", rows.local, rows.expand[rows.block[rows.tree]]), design)
    assert rows.local.shape[1] < design.shape[1]


def test_one_name_for_trees_of_two_species_is_read_in_all_columns():
    waits = [w._replace(tree="same") for w in WAITS]
    columns = Columns.of(waits)
    rows = columns.rows(waits)
    design = [columns.row(w.species, w.season, w.later, w.anchor_middle) for w in waits]
    assert_allclose(rows.local @ rows.expand[0], design)
