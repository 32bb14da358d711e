"""When roots and wood are cut: by the tree's own state, and by the date where nobody looked."""

from __future__ import annotations

import pytest

from phenology.work.season_of_work import WHEN, YearState, in_words, is_open

MARCH, JUNE, SEPTEMBER, DECEMBER = 80, 170, 270, 350  # days after midwinter


@pytest.mark.parametrize(
    "season, state, expected",
    [
        ("bare", YearState("bare", DECEMBER), True),
        ("bare", YearState("hardened", JUNE), False),
        ("bare", YearState(None, JUNE), False),
        ("bare", YearState(None, DECEMBER), None),
        ("leaf-fall", YearState("bare", DECEMBER), True),
        ("leaf-fall", YearState("dormant", MARCH), False),
        ("leaf-fall", YearState("hardened", JUNE), False),
        ("bud-swell", YearState("swelling", MARCH), True),
        ("bud-swell", YearState("dormant", MARCH), True),
        ("bud-swell", YearState("budbreak", MARCH), False),
        ("bud-swell", YearState("turning", DECEMBER), False),
        ("bud-swell", YearState(None, MARCH), True),
        ("bud-swell", YearState(None, JUNE), False),
        ("bud-swell", YearState(None, 145), None),
        ("bud-swell", YearState(None, None), None),
        ("after-bloom", YearState("extending", JUNE, "faded"), True),
        ("after-bloom", YearState("extending", JUNE, "flowering"), False),
        ("after-bloom", YearState("extending", JUNE), None),
        ("after-bloom", YearState("hardened", SEPTEMBER, "faded", buds_set=True), False),
        ("after-bloom", YearState("dormant", 20, blooms="spring"), False),
        ("after-bloom", YearState("dormant", MARCH, blooms="late-winter"), None),
        ("summer", YearState("hardened", 190), True),
        ("summer", YearState("dormant", 20), False),
        ("autumn", YearState("hardened", SEPTEMBER), True),
        ("autumn", YearState("swelling", MARCH), False),
        ("warm-nights", YearState(nights_warm=True), True),
        ("warm-nights", YearState(nights_warm=False), False),
        ("warm-nights", YearState(), None),
    ],
)
def test_a_season_has_come_or_not_or_nobody_knows(season, state, expected):
    assert is_open((season,), state) is expected


def test_of_several_seasons_one_is_enough():
    assert is_open(("after-bloom", "summer"), YearState("hardened", 190)) is True
    assert is_open(("after-bloom", "warm-nights"), YearState("hardened", 190, buds_set=True)) is None
    assert (
        set(WHEN) >= {"bare", "autumn"}
        and in_words(("autumn",)) == "in early autumn, weeks before hard frost"
    )
