"""How strong a tree is, zone by zone, in the words that growers use."""

from __future__ import annotations

import pytest

from phenology.work.zones import Vigour, read_vigour, zone_of


@pytest.mark.parametrize(
    "said, whole, zones",
    [
        ("strong", "strong", {}),
        ("very strong, growing well", "strong", {}),
        ("weak", "weak", {}),
        ("low vigour", "weak", {}),
        ("recovering", "weak", {}),
        ("weak and sick", "weak", {}),
        ("strong apex, weak inside", None, {"outer": "strong", "inside": "weak"}),
        ("strong apex and weak inside", None, {"outer": "strong", "inside": "weak"}),
        ("strong above; weak below", None, {"outer": "strong", "low": "weak"}),
        ("vigorous, but the lowest branches are weak", "strong", {"low": "weak"}),
        ("weak low branches", None, {"low": "weak"}),
        ("not weak", None, {}),
        ("not strong", None, {}),
        ("old, steady", None, {}),
        ("strong, was weak", "weak", {}),  # in doubt a tree is spared
        ("", None, {}),
        (None, None, {}),
    ],
)
def test_plain_words_are_read(said, whole, zones):
    found = read_vigour(said)
    assert (found.whole, dict(found.zones)) == (whole, zones)


def test_a_zone_without_a_word_of_its_own_is_as_the_whole_tree():
    assert read_vigour("strong, low branches weak").of("outer") == "strong"
    assert read_vigour("weak inside").of("outer") is None
    assert Vigour("strong", {"low": "weak"}).of("low") == "weak"


def test_parts_of_looks_are_zones():
    assert [zone_of(p) for p in ("top", "outer", "inside", "bottom", None)] == [
        "outer", "outer", "inside", "low", None,
    ]  # fmt: skip
