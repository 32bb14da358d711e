"""`flushcast share` and `learn-from`, from one garden to another and out again."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from phenology.species.catalogue import load_species
from tests.reports.bench import Bench
from tests.reports.demo import demo_folder

DAY = "2026-06-14"
LETTERS = str.maketrans("01", "ab")


@pytest.fixture(scope="module")
def shared(tmp_path_factory) -> Path:
    """What the demo garden shares."""
    file = tmp_path_factory.mktemp("shared") / "larkfield.json"
    answer = Bench(demo_folder(), DAY).does("share", file)
    assert "Acer buergerianum" in answer.words and "no names, notes or places" in answer.words
    return file


@pytest.fixture
def new(tmp_path: Path) -> Bench:
    """A garden in its first season, with one maple."""
    bench = Bench(tmp_path / "new", DAY)
    bench.does("init", bench.folder, "--lat", "48.2", "--lon", "8.3", "--tree", "Maple 1=Acer buergerianum")
    return bench


def maple_rows(bench: Bench) -> list[dict]:
    found = json.loads(bench.does("calibrate", "trident", "--json").out)
    return [row for row in found["rows"] if row["from"] == "budbreak" and row["to"] == "extended"]


def test_a_file_holds_numbers_and_nothing_of_the_grower(shared: Path) -> None:
    text = shared.read_text(encoding="utf-8")
    bench = Bench(demo_folder(), DAY)
    trees = re.findall(r"^(\S+(?: \d+)?)  ", bench.does("tree", "list").out, flags=re.MULTILINE)[1:]
    assert len(trees) > 5
    labels = set(trees) - {name.split()[0] for name in load_species()}
    private = ["Larkfield", "bench", "Bench", *labels, "note", "who"]
    assert not [word for word in private if re.search(rf"\b{re.escape(word)}\b", text)]
    content = json.loads(text)
    assert set(content["climate"]) == {"latitude", "coldest_c", "warmest_c"}
    assert isinstance(content["climate"]["latitude"], int)
    assert bench.does("share").out == text  # without a file, to stdout


def test_a_new_garden_learns_shows_what_came_from_whom_and_forgets(new: Bench, shared: Path) -> None:
    (before,) = maple_rows(new)
    answer = new.does("learn-from", shared)
    assert "larkfield: " in answer.words and "Undo: flushcast undo" in answer.words
    (after,) = maple_rows(new)
    assert before["prior_share"] == 1 and before["others_share"] == 0
    assert after["others_share"] > 0.8
    assert after["prior_share"] + after["others_share"] == pytest.approx(1, abs=2e-3)
    assert after["expected_error_days_at_18c"] < 0.85 * before["expected_error_days_at_18c"]
    printed = " ".join(new.does("calibrate", "trident").out.split())
    assert re.search(r"From larkfield, a climate [a-z ]+ here, \d seasons, \d trees, 100% of what", printed)
    assert "Learned of it from larkfield" in " ".join(new.does("species", "trident").out.split())
    assert "+ with calibrations learned from other growers" in new.does("species").out
    assert "learned from larkfield" in new.does("history").out
    assert "species guess" in new.does("forecast").out  # no promise rests on others' looks
    new.does("undo")
    assert maple_rows(new) == [before] and "larkfield" not in new.does("species", "trident").out


def test_a_newer_file_takes_the_older_one_s_place(new: Bench, shared: Path, tmp_path: Path) -> None:
    new.does("learn-from", shared)
    again = tmp_path / "other name.json"
    again.write_text(shared.read_text(encoding="utf-8").replace(f'"made": "{DAY}"', '"made": "2027-06-14"'))
    assert "Learned from larkfield" in new.does("learn-from", again).words
    found = json.loads(new.does("calibrate", "trident", "--json").out)["learned_from"]
    assert {row["garden"] for row in found} == {"larkfield"}
    assert all(row["weight"] == pytest.approx(1) for row in found)


def test_one_s_own_file_and_a_spoiled_one_are_refused_and_nothing_is_taken(
    new: Bench, shared: Path, tmp_path: Path
) -> None:
    assert "this garden's own" in Bench(demo_folder(), DAY).refuses("learn-from", shared)
    spoiled = tmp_path / "spoiled.json"
    spoiled.write_text(shared.read_text(encoding="utf-8").replace('"days": ', '"days": -', 1))
    said = new.refuses("learn-from", shared, spoiled)
    assert "spoiled.json is refused: steps/0/" in said and "Nothing was learned" in said
    assert json.loads(new.does("calibrate", "trident", "--json").out)["learned_from"] == []
    assert "nothing to share yet" in new.refuses("share")


def test_what_was_learned_is_exported_and_comes_back(new: Bench, shared: Path, tmp_path: Path) -> None:
    content = json.loads(shared.read_text(encoding="utf-8"))
    for step in content["steps"]:  # of a garden of very many species, so that a cell of the export is large
        one = step["species"][0]
        step["species"] += [{**one, "species": f"Acer x{n:06b}".translate(LETTERS)} for n in range(60)]
    large = tmp_path / "large.json"
    large.write_text(json.dumps(content))
    new.does("learn-from", large)
    export = tmp_path / "export"
    new.does("export", export)
    again = Bench(tmp_path / "again", DAY)
    again.does("init", again.folder, "--from", export)
    assert maple_rows(again) == maple_rows(new)
    (export / "shared_files.csv").unlink()  # as an older flushcast exported
    (export / "changes.csv").unlink()
    older = Bench(tmp_path / "older", DAY)
    older.does("init", older.folder, "--from", export)
    assert maple_rows(older)[0]["others_share"] == 0
