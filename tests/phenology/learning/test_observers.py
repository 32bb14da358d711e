"""Two people at the same benches: the one who calls hardening late is found out where their looks overlap."""

from __future__ import annotations

import numpy as np
import pytest

from phenology.learning.observers import lateness, observer_lateness
from tests.phenology.gardens import Records, day


def two_growers(late: float, flushes: int, *, every: tuple[int, int] = (5, 8), seed: int = 0) -> Records:
    """Wren and Robin look at the same elms on rounds of their own; Robin calls leaves hard some days late."""
    rng = np.random.default_rng(seed)
    records = Records()
    for k in range(flushes):
        records.tree(f"elm {k}")
        flush = records.flush(f"elm {k}", 2020)
        hard = 165 + rng.normal(0, 8)
        for who, rhythm, lag in (("Wren", every[0], 0.0), ("Robin", every[1], late)):
            for n in range(130 + int(rng.integers(0, rhythm)), 216, rhythm):
                called = hard + lag + rng.normal(0, 1.5)
                stage = "hardened" if n >= called else "extended"
                records.look(flush, n, stage, who=who)
                if stage == "hardened":
                    break
    return records


def compared(records: Records):
    return list(observer_lateness(records.garden(day(2020, 220))))


@pytest.mark.parametrize("late", [0.0, 4.0, 9.0])
def test_lateness_is_found_where_two_people_looked_at_the_same_flushes(late):
    [found] = compared(two_growers(late, 24))
    assert found.flushes == 24
    signed = found.days if found.second == "Robin" else -found.days
    assert signed == pytest.approx(late, abs=1.5)
    assert found.clear == (late > 0)
    assert found.second == "Robin" or not late


def test_ranges_hold_the_truth_as_often_as_they_say():
    hits = []
    for seed in range(40):
        late = float(np.random.default_rng(seed).normal(0, 7))
        [found] = compared(two_growers(late, 4, seed=seed))
        signed = late if found.second == "Robin" else -late
        hits.append(found.low <= signed <= found.high)
    assert 0.6 < np.mean(hits) < 0.97


def test_few_flushes_leave_it_open():
    wide = compared(two_growers(3.0, 1))[0]
    narrow = compared(two_growers(3.0, 20))[0]
    assert wide.high - wide.low > 2 * (narrow.high - narrow.low)


def test_people_who_never_met_at_a_flush_are_not_compared():
    records = two_growers(5.0, 3)
    records.looks = [v for v in records.looks if (v.who == "Wren") == (v.tree_id == "elm 0")]
    assert compared(records) == []
    assert lateness([])[0] == pytest.approx(0, abs=0.2)
