"""Names that look alike are one name: no second tree gets one, no look goes to several trees."""

from __future__ import annotations

from pathlib import Path

import pytest

from data_sources.garden import open_journal
from phenology.model.records import Tree
from tests.reports.bench import Bench, new_bench

ALIKE = [
    *("Elm\u00a01", "Elm  1", "elm 1", "Elm \uff11", "\uff25lm 1"),
    *("Elm\u200b 1", "Elm\u2009\u20601", "Elm 1\u200e", "E\u00adlm 1"),
]


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return new_bench(tmp_path / "garden")


@pytest.mark.parametrize("name", ALIKE, ids=ascii)
def test_a_label_that_looks_like_another_is_refused_at_every_door(
    bench: Bench, tmp_path: Path, name: str
) -> None:
    bench.does("tree", "add", "Maple 1", "Acer buergerianum")
    assert "already" in bench.refuses("tree", "add", name, "Ulmus parvifolia")
    assert "already" in bench.refuses("tree", "edit", "Maple 1", "--label", name)
    twice = bench("init", tmp_path / "new", "--lat", "1", "--lon", "1", "--tree", "Elm 1=Ulmus parvifolia",
                  "--tree", f"{name}=Ulmus parvifolia")  # fmt: skip
    assert twice.code == 1 and "labels must differ" in twice.err
    file = tmp_path / "trees.csv"
    file.write_text(f"label,species\n{name},Ulmus parvifolia\n", "utf-8")
    assert "1 there already" in bench.does("import", file).words
    file.write_text(f"label,species\n{name},Acer buergerianum\n", "utf-8")
    assert "give this tree another label" in " ".join(bench.refuses("import", file).split())
    bench.does("look", name, "soft")  # typed so, the one tree is meant
    with open_journal(bench.folder) as journal:
        assert len(journal.trees()) == 4 and len(journal.looks()) == 1


def test_new_labels_are_kept_plain(bench: Bench, tmp_path: Path) -> None:
    bench.does("tree", "add", "Maple\u00a0\u200b \uff17", "Acer buergerianum")
    file = tmp_path / "looks.csv"
    file.write_text("date,tree,species,stage\n2026-04-02,Beech\u00a0\uff12,Fagus crenata,budbreak\n", "utf-8")
    bench.does("import", file, "--new-trees")
    with open_journal(bench.folder) as journal:
        assert {"Maple 7", "Beech 2"} < {tree.label for tree in journal.trees()}


def test_trees_that_look_alike_in_an_older_garden_are_told_apart_before_a_look(bench: Bench) -> None:
    with open_journal(bench.folder) as journal, journal.batch("as an older flushcast did") as batch:
        for n, label in enumerate(("Elm\u00a01", "Elm \uff11")):
            batch.insert(Tree(f"id{n}", label, "Ulmus parvifolia"))
    said = " ".join(bench.refuses("look", "elm 1", "soft").split())
    assert "3 trees are called 'elm 1'" in said and "flushcast tree edit id" in said
    bench.does("tree", "edit", "id0", "--label", "Elm 2")
    bench.does("tree", "edit", "id1", "--label", "Elm 3")
    bench.does("look", "Elm 1", "soft")
    with open_journal(bench.folder) as journal:
        assert len(journal.looks()) == 1


def test_places_that_look_alike_are_refused(bench: Bench, tmp_path: Path) -> None:
    assert "already" in bench.refuses("place", "add", "B\u200bench")
    assert "already" in bench.refuses("place", "add", "\uff22ench")
    file = tmp_path / "places.csv"
    file.write_text("name,latitude,longitude\nBe\u00adnch,1,1\n", "utf-8")
    assert "1 there already" in bench.does("import", file).words
