"""`flushcast tree` and `flushcast place`. Today is Saturday 25 July 2026."""

from __future__ import annotations

from datetime import date

import pytest

from data_sources.garden import open_journal
from tests.reports.bench import new_bench


@pytest.fixture
def bench(tmp_path):
    return new_bench(tmp_path / "garden")


def trees(bench):
    with open_journal(bench.folder) as journal:
        return {t.label: t for t in journal.trees()}


def test_a_tree_is_added_with_all_that_is_known_of_it(bench):
    bench.does("place", "add", "Roof", "--sun", "full", "--cover", "shade net")
    given = ["--place", "roof", "--aim", "building", "--vigour", "strong", "--grown-for", "leaf"]
    answer = bench.does(
        "tree", "add", "Maple 1", "trident maple", "--pot", "oval, 30 cm", "--since", "1 May 2020",
        "--last-repot", "2025-03-16", *given,
    )  # fmt: skip
    assert answer.words == "Maple 1: Acer buergerianum, on Roof. Undo: flushcast undo"
    maple = trees(bench)["Maple 1"]
    assert (maple.pot, maple.last_repot, maple.vigour, maple.grown_for) == (
        "oval, 30 cm",
        date(2025, 3, 16),
        "strong",
        "leaf",
    )
    told = bench.does("tree", "list", "Maple 1").out
    assert "stands on Roof from Fri 1 May 2020" in told and "aim building from Fri 1 May 2020" in told


def test_a_species_nobody_described_is_taken_with_a_word(bench):
    assert "Not in the catalogue" in bench.does("tree", "add", "X", "Quercus alba").words
    assert "Did you mean Ulmus parvifolia" in bench.refuses("tree", "add", "Y", "Ulmus parvifola")
    assert "there is a tree called 'x' already" in bench.refuses("tree", "add", "x", "Quercus alba")


def test_bulk_edits_change_what_is_given_and_empty_what_is_emptied(bench):
    bench.does("tree", "edit", "hornbeams", "--pot", "round", "--vigour", "weak")
    bench.does("tree", "edit", "Hornbeam 2", "--pot", "")
    found = trees(bench)
    assert (found["Hornbeam 1"].pot, found["Hornbeam 2"].pot, found["Hornbeam 2"].vigour) == (
        "round",
        None,
        "weak",
    )
    repotted = bench.does("tree", "edit", "Elm 1", "--last-repot", "April 2025").words
    assert "last repot 15 Apr 2025." in repotted  # a vague date by its middle, as all dates are shown
    bench.does("tree", "edit", "Elm 1", "--label", "Old elm", "--species", "Zelkova serrata")
    assert trees(bench)["Old elm"].species == "Zelkova serrata"
    assert "--label names one tree" in bench.refuses("tree", "edit", "hornbeams", "--label", "H")
    assert "nothing to change" in bench.refuses("tree", "edit", "hornbeams")


def test_moves_and_aims_hold_from_a_day_and_another_word_on_that_day_replaces(bench):
    bench.does("place", "add", "Roof")
    bench.does("place", "add", "Shed")
    bench.does("tree", "move", "hornbeams", "Roof", "--date", "1 June")
    assert "on Roof already" in bench.refuses("tree", "move", "hornbeams", "Roof")
    bench.does("tree", "move", "Hornbeam 1", "Shed", "--date", "1 June")
    bench.does("tree", "aim", "all", "resting", "--date", "1 June")
    bench.does("tree", "aim", "Elm 1", "refining", "--date", "1 June")
    with open_journal(bench.folder) as journal:
        by_id = {t.id: t.label for t in journal.trees()}
        names = {p.id: p.name for p in journal.places()}
        stands = {(by_id[s.tree_id], names[s.place_id]) for s in journal.stands() if s.from_date}
        aims = {by_id[a.tree_id]: a.aim for a in journal.aims()}
    assert stands == {("Hornbeam 1", "Shed"), ("Hornbeam 2", "Roof")}
    assert aims == {"Hornbeam 1": "resting", "Hornbeam 2": "resting", "Elm 1": "refining"}
    assert "Shed" in bench.does("tree", "list").out


def test_retired_trees_answer_only_to_their_label(bench):
    bench.does("tree", "retire", "Hornbeam 2", "--date", "1 June")
    assert bench.does("look", "hornbeams", "soft").words.startswith("Hornbeam 1:")
    assert "Hornbeam 2" not in bench.does("tree", "list").out
    assert "retired Mon 1 Jun" in bench.does("tree", "list", "--retired").out
    bench.does("tree", "retire", "Hornbeam 2", "--back")
    assert trees(bench)["Hornbeam 2"].retired is None


def test_only_a_tree_without_records_is_removed(bench):
    bench.does("look", "Elm 1", "soft")
    assert "retire it instead" in bench.refuses("tree", "remove", "Elm 1")
    bench.does("tree", "remove", "Hornbeam 1")
    assert set(trees(bench)) == {"Hornbeam 2", "Elm 1"}
    bench.does("undo")
    assert "Hornbeam 1" in trees(bench)


def test_a_place_takes_the_position_of_the_first_one_unless_told(bench):
    bench.does("place", "add", "Roof")
    bench.does("place", "add", "Cabin", "--lat", "46.5 N", "--lon", "9,8", "--elevation", "5900ft")
    with open_journal(bench.folder) as journal:
        places = {p.name: p for p in journal.places()}
    assert (places["Roof"].latitude, places["Roof"].elevation) == (47.2, 410.0)
    cabin = places["Cabin"]
    assert (cabin.latitude, cabin.longitude, cabin.elevation) == (46.5, 9.8, 1798.3)
    bench.does("place", "edit", "Cabin", "--name", "Hut", "--sun", "half", "--elevation", "")
    listed = bench.does("place", "list").out
    assert "Hut" in listed and "46.50 N 9.80 E" in listed and "half" in listed


@pytest.mark.parametrize(
    "args, sentence",
    [
        (["add", "bench"], "there is a place called 'bench' already"),
        (["add", "Far", "--lat", "95", "--lon", "3"], "latitude runs from -90 to 90; got 95"),
        (["add", "Far", "--lat", "north", "--lon", "3"], "'north' is no latitude"),
        (["add", "Far", "--lat", "5"], "--lat and --lon go together"),
        (["add", "Far", "--timezone", "Europe/Atlantis"], "no time zone 'Europe/Atlantis'"),
        (["add", "Far", "--elevation", "high"], "'high' is no elevation"),
        (["edit", "Bensh", "--sun", "full"], "no place called 'Bensh'. Did you mean Bench"),
        (["edit", "Bench"], "nothing to change"),
        (["remove", "Bench"], "so its records need it"),
    ],
)
def test_what_cannot_be_gets_one_sentence(bench, args, sentence):
    assert sentence in bench.refuses("place", *args)


def test_a_place_no_tree_stood_in_is_removed(bench):
    bench.does("place", "add", "Roof")
    bench.does("place", "remove", "Roof")
    assert "Roof" not in bench.does("place", "list").out


def test_heights_are_shown_in_the_garden_s_units(bench):
    assert "410 m" in bench.does("place", "list").out
    bench.does("settings", "units", "F")
    assert "1345 ft" in bench.does("place", "list").out
