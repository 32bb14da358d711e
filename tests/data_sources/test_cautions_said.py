"""Cautions are said once a day, whatever becomes of the file that remembers them."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from data_sources.kept_notes import CAUTIONS, not_said_yet

DAY = date(2026, 6, 14)


def test_each_is_said_once_a_day_and_again_the_next(tmp_path: Path) -> None:
    assert not_said_yet(tmp_path, DAY, ["Mind your eyes.", "Look first."]) == [
        "Mind your eyes.",
        "Look first.",
    ]
    assert not_said_yet(tmp_path, DAY, ["Look first.", "Mind sap."]) == ["Mind sap."]
    assert not_said_yet(tmp_path, DAY, ["Mind your eyes."]) == []
    assert not_said_yet(tmp_path, date(2026, 6, 15), ["Look first."]) == ["Look first."]


@pytest.mark.parametrize(
    "kept", ["", "[]", '{"day": "2026-06-14"}', '{"day": "2026-06-14", "said": 3}', "\x00"]
)
def test_an_unreadable_memory_says_everything(tmp_path: Path, kept: str) -> None:
    (tmp_path / CAUTIONS).write_text(kept)
    assert not_said_yet(tmp_path, DAY, ["Look first."]) == ["Look first."]
    assert not_said_yet(tmp_path, DAY, ["Look first."]) == []


def test_where_nothing_can_be_kept_it_is_said_every_time(tmp_path: Path) -> None:
    (tmp_path / CAUTIONS).mkdir()  # stands in the way
    for _ in range(2):
        assert not_said_yet(tmp_path, DAY, ["Look first."]) == ["Look first."]
