"""Light inside: published exponential, the trade's rule, and good sense."""

from __future__ import annotations

import csv
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from phenology.model.errors import InputError
from phenology.work.canopy import TRADE_DEPTH, Canopy


def test_every_row_of_the_reference_table(shared):
    with (shared / "data" / "check_values" / "canopy_light_cases.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 13
    for row in rows:
        depth = float(row["k"]) * float(row["lai"])
        found = Canopy.measured(1000.0, 1000.0 * math.exp(-depth))
        assert found.depth == pytest.approx(depth, abs=1e-9)
        assert found.through == pytest.approx(float(row["transmitted"]), abs=2e-6)
        assert found.after() == pytest.approx(float(row["after_halving"]), abs=2e-6)
        assert found.gain() == pytest.approx(float(row["relative_gain"]), abs=5e-6)


def test_the_trades_half_as_much_again_holds_at_its_depth():
    assert pytest.approx(0.810930, abs=1e-6) == TRADE_DEPTH
    assert Canopy(math.exp(-TRADE_DEPTH), TRADE_DEPTH).gain() == pytest.approx(0.5)


def test_only_the_outer_leaves_are_halved():
    whole, outer = Canopy.measured(100, 20), Canopy.measured(100, 20, outer=0.5)
    assert outer.gain() == pytest.approx(math.exp(0.5 * whole.depth / 2) - 1)
    assert outer.gain() < whole.gain()


@settings(max_examples=100)
@given(st.floats(1, 1e5), st.floats(0.001, 1), st.floats(0.01, 1))
def test_less_leaf_is_more_light(above, share, outer):
    found = Canopy.measured(above, above * share, outer)
    assert found.through - 1e-12 <= found.after() <= found.after(1.0) + 1e-12 <= 1 + 1e-9


@pytest.mark.parametrize(
    "inside, outer, words",
    [(60, 1.0, "light enough"), (45, 0.3, "hardly tell"), (20, 1.0, "Worth halving the outer"),
     (0.5, 0.6, "stays dark")],
)  # fmt: skip
def test_advice_follows_the_light(inside, outer, words):
    assert words in Canopy.measured(100, inside, outer).advice


@pytest.mark.parametrize(
    "above, inside, outer, sentence",
    [
        (0, 1, 1, "above zero"),
        (10, 0, 1, "above zero"),
        (10, 11, 1, "brighter than above"),
        (10, 5, 0, "share"),
    ],
)
def test_readings_that_cannot_be_are_refused(above, inside, outer, sentence):
    with pytest.raises(InputError, match=sentence):
        Canopy.measured(above, inside, outer)
