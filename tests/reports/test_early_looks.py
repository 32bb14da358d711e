"""New growth that comes sooner after work than a species could show it, at the demo garden's hornbeam."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path

import pytest

from data_sources.garden import open_journal
from tests.reports.bench import Bench
from tests.reports.demo import FEW, own_demo

WORKED, SOON, LATER = "2026-06-14", "2026-06-19", "2026-07-12"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The demo garden, its hornbeam cut back today; the garden no longer stands still on its day."""
    folder = own_demo(tmp_path_factory.mktemp("cut"), trees=FEW)
    settings = folder / "garden.toml"
    kept = [line for line in settings.read_text("utf-8").splitlines() if not line.startswith("stands_on")]
    settings.write_text("\n".join(kept) + "\n", encoding="utf-8")
    bench = Bench(folder, WORKED)
    bench.does("look", "Hornbeam 1", "dormant")
    bench.does("work", "Hornbeam 1", "cutback", "--yes")
    return folder


@pytest.fixture
def cut(made, tmp_path):
    return Bench(Path(shutil.copytree(made, tmp_path / "garden")), WORKED)


def stops(bench: Bench) -> list[str]:
    return [line.split("Closes")[1] for line in bench.does("windows").out.split("\n\n") if "Closes" in line]


def test_shoots_too_soon_are_not_taken_for_the_new_flush(cut):
    before = stops(cut.on(SOON))
    words = cut.on(SOON).refuses("look", "Hornbeam 1", "soft")
    assert "extending 5 days after work that woke new growth is sooner than this species shows it" in words
    assert "--yes" in words and "Nothing was saved" in words
    assert stops(cut.on(SOON)) == before


def test_the_grower_who_has_looked_twice_has_the_last_word(cut):
    cut.on(SOON).does("look", "Hornbeam 1", "soft", "--yes")
    with open_journal(cut.folder) as journal:
        assert max(journal.looks(), key=lambda look: look.latest).latest == date.fromisoformat(SOON)


def test_shoots_in_time_are_taken_without_a_word(cut):
    said = cut.on(LATER).does("look", "Hornbeam 1", "soft").words
    assert "sooner" not in said and "old leaves" not in said
