"""`flushcast init`, `undo`, `history`, `backup`, `restore`, `species`, `settings`."""

from __future__ import annotations

import os

import pytest

from data_sources.garden import open_journal, read_settings
from phenology.species.catalogue import load_species
from tests.reports.bench import Bench, new_bench


@pytest.fixture
def bench(tmp_path):
    return new_bench(tmp_path / "garden")


def test_init_makes_a_garden_and_says_what_to_type_next(tmp_path):
    bench = Bench(tmp_path / "my garden")
    answer = bench.does(
        "init", bench.folder, "--name", "North bench", "--place", "Balcony", "--lat", "33.9 S",
        "--lon", "18.4", "--elevation", "120ft", "--units", "f", "--season-start", "08-01",
        "--tree", "Elm 1=lacebark elm",
    )  # fmt: skip
    assert "Balcony at 33.90 S 18.40 E with Elm 1." in answer.words
    assert 'look "Elm 1" soft' in answer.words and "weather add" in answer.words
    settings = read_settings(bench.folder)
    assert (settings.name, settings.units, settings.season_start) == ("North bench", "F", "08-01")
    with open_journal(bench.folder) as journal:
        assert [(t.label, t.species) for t in journal.trees()] == [("Elm 1", "Ulmus parvifolia")]
        assert len(journal.stands()) == 1
        assert journal.places()[0].elevation == 36.6


def test_init_refuses_a_garden_that_is_there(bench):
    assert "there is a garden in" in bench.refuses("init", bench.folder, "--lat", "1", "--lon", "1")


@pytest.mark.parametrize(
    "args, sentence",
    [
        (["--lat", "99", "--lon", "1"], "latitude runs from -90 to 90; got 99"),
        (["--lat", "1", "--lon", "1", "--tree", "Elm 1"], "--tree takes LABEL=SPECIES"),
        (["--lat", "1", "--lon", "1", "--tree", "Elm 1=Ulmus parvifola"], "Did you mean Ulmus parvifolia"),
        (
            ["--lat", "1", "--lon", "1", "--tree", "A=Ulmus parvifolia", "--tree", "a=Ulmus parvifolia"],
            "labels must",
        ),
        (["--lat", "1", "--lon", "1", "--season-start", "02-29"], "29 February is not one"),
    ],
)
def test_init_refuses_in_one_sentence_and_makes_nothing(tmp_path, args, sentence):
    bench = Bench(tmp_path / "new")
    assert sentence in bench.refuses("init", bench.folder, *args)
    assert not bench.folder.exists()


def test_init_without_a_position_is_a_usage_error(tmp_path):
    assert Bench(tmp_path / "new")("init", tmp_path / "new").code == 2


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write anywhere")
def test_init_in_a_folder_that_cannot_be_written_is_refused(tmp_path):
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o500)
    assert "Nothing was created" in Bench(locked / "g").refuses(
        "init", locked / "g", "--lat", "1", "--lon", "1"
    )


def test_init_where_a_file_is_in_the_way_is_refused(tmp_path):
    (tmp_path / "note").write_text("hello")
    told = Bench(tmp_path / "note").refuses("init", tmp_path / "note", "--lat", "1", "--lon", "1")
    assert "is a file, not a folder" in told
    told = Bench(tmp_path / "note" / "g").refuses("init", tmp_path / "note" / "g", "--lat", "1", "--lon", "1")
    assert "Nothing was created" in told


def test_anything_is_undone_and_done_again(bench):
    bench.does("look", "hornbeams", "soft")
    bench.does("tree", "edit", "Elm 1", "--pot", "oval")
    answer = bench.does("undo", "2", "--yes")
    assert "Took back: changed Elm 1: pot oval." in answer.words
    assert "Took back: look: Hornbeam 1, Hornbeam 2: extending" in answer.words
    with open_journal(bench.folder) as journal:
        assert journal.looks() == []
    bench.does("undo", "--redo")
    with open_journal(bench.folder) as journal:
        assert len(journal.looks()) == 2


def test_taking_back_more_than_one_command_is_asked_first(bench):
    bench.does("look", "hornbeams", "soft")
    bench.does("tree", "edit", "Elm 1", "--pot", "oval")
    told = bench.refuses("undo", "2")
    assert "take back 2 changes" in told and "pot oval" in told and "--yes" in told
    with open_journal(bench.folder) as journal:
        assert len(journal.looks()) == 2
    bench.does("undo")  # one is taken back unasked


def test_a_restore_is_undone_as_one_and_only_when_meant(bench, tmp_path):
    copy = tmp_path / "copy.backup"
    bench.does("backup", copy)
    bench.does("look", "hornbeams", "soft")
    assert "Undo: flushcast undo" in bench.does("restore", copy, "--yes").err.replace("\u00a0", " ")
    told = bench.refuses("undo")
    assert "the last thing done was a restore" in told and "--yes" in told
    assert "by itself first" in bench.refuses("undo", "2", "--yes")
    answer = bench.does("undo", "--yes")
    assert "look" in answer.out and "Took back the restore" in answer.words  # says what comes back
    with open_journal(bench.folder) as journal:
        assert len(journal.looks()) == 2
    bench.does("undo", "--yes")  # and that is taken back the same way
    with open_journal(bench.folder) as journal:
        assert journal.looks() == []


def test_after_a_restore_what_is_written_next_is_undone_next(bench, tmp_path):
    copy = tmp_path / "copy.backup"
    bench.does("backup", copy)
    bench.does("look", "hornbeams", "soft")
    bench.does("restore", copy, "--yes")
    bench.does("look", "Elm 1", "soft")
    assert "Took back: look: Elm 1" in bench.does("undo").words


def test_counting_too_far_back_leaves_the_garden_itself(bench):
    bench.does("look", "hornbeams", "soft")
    bench.does("look", "Elm 1", "soft")
    answer = bench.does("undo", "99", "--yes")
    assert answer.words.count("Took back:") == 2
    assert "Left as it is: made the garden: Bench, 3 trees." in answer.words
    assert "To reverse this: flushcast undo 2 --redo" in answer.words
    bench.does("undo", "2", "--redo")
    with open_journal(bench.folder) as journal:
        assert len(journal.looks()) == 3


def test_undoing_everything_ends_in_one_sentence(bench):
    bench.does("undo")  # the garden's first records
    assert "there is nothing to undo" in bench.refuses("undo")
    assert "the garden has no trees yet" in bench.refuses("look", "all", "soft")


def test_history_tells_what_was_written_for_one_tree_or_all(bench):
    assert "made the garden: Bench, 3 trees" in bench.does("history").out
    bench.does("look", "hornbeams", "soft")
    bench.does("undo")
    told = bench.does("history", "Hornbeam 1").out
    assert "[taken back]" in told and "undid: look:" in told
    assert "look:" not in bench.does("history", "Elm 1").out
    assert "means 2 trees; name one" in bench.refuses("history", "hornbeams")
    assert len(bench.does("history", "--limit", "1").out.splitlines()) <= 3


def test_a_backup_is_restored_after_a_dry_run(bench, tmp_path):
    bench.does("look", "Elm 1", "soft")
    copy = tmp_path / "copy.sqlite"
    assert bench.does("backup", copy).out.strip() == str(copy)
    bench.does("look", "Hornbeam 1", "soft")
    told = bench.does("restore", copy)
    assert "Nothing was changed" in told.words
    assert [line.split() for line in told.out.splitlines() if line.startswith("looks")] == [
        ["looks", "2", "1", "0", "1", "0"]
    ]
    assert (
        "Restored from copy.sqlite. The journal of before is kept as"
        in bench.does("restore", copy, "--yes").words
    )
    with open_journal(bench.folder) as journal:
        assert len(journal.looks()) == 1
    assert "already is as in the backup" in bench.does("restore", copy).out
    assert "before-restore" in bench.does("backup", "--list").out


def test_a_damaged_journal_is_refused_and_a_backup_brings_it_back(bench):
    bench.does("look", "Elm 1", "soft")
    bench.does("backup")
    path = bench.folder / "journal.sqlite"
    raw = bytearray(path.read_bytes())
    raw[4096 : 4096 * 2] = b"\x5a" * 4096
    path.write_bytes(raw)
    told = bench.refuses("look", "Elm 1", "firm")
    assert "restore" in told
    assert path.read_bytes() == bytes(raw)  # kept as it was
    bench.does("restore", "--yes")
    with open_journal(bench.folder) as journal:
        assert len(journal.looks()) == 1


def test_a_journal_in_use_is_said_to_be(bench, monkeypatch):
    import sqlite3

    monkeypatch.setattr("data_sources.sqlite.connection.PATIENCE", 0)
    holder = sqlite3.connect(bench.folder / "journal.sqlite", isolation_level=None)
    try:
        holder.execute("BEGIN IMMEDIATE")
        assert "is in use: another flushcast" in bench.refuses("look", "Elm 1", "soft")
    finally:
        holder.close()
    bench.does("look", "Elm 1", "soft")


def test_species_are_listed_and_shown_with_where_values_come_from(bench):
    listed = bench.does("species").out
    assert len([line for line in listed.splitlines() if not line.startswith(" ")]) > 30
    shown = bench.does("species", "trident maple").out
    assert shown.startswith("Acer buergerianum (trident maple)")
    sources = " ".join(shown[shown.index("\n[a] ") :].split())
    assert "common practice, no source" in sources
    assert "from memory, unverified" in sources and "free growth [a]" in shown
    assert all(len(line) <= 80 for line in (listed + shown).splitlines())
    assert "Did you mean" in bench.refuses("species", "Ulmus parvifola")


def test_every_species_shows_its_cautions_and_what_wakes_it(bench):
    wakes = {
        "season": "wakes with the season",
        "bloom": "when its bloom is over",
        "warmth": "with warm nights",
    }
    catalogue = load_species()
    assert {s.woken_by for s in catalogue.values()} == set(wakes)
    for latin, species in catalogue.items():
        shown = " ".join(bench.does("species", latin).out.split())
        assert wakes[species.woken_by] in shown
        assert all(caution in shown for caution in species.cautions), latin
        assert ("To mind:" in shown) == bool(species.cautions)


def test_a_fahrenheit_garden_is_told_that_sums_are_in_celsius(bench):
    assert "°C, as they were written" not in bench.does("species", "trident").out
    bench.does("settings", "units", "F")
    shown = bench.does("species", "trident").out
    assert "at a constant 64 °F" in shown and "sums and sources count in °C" in shown


def test_species_can_be_read_without_a_garden(tmp_path):
    assert "trident maple" in Bench(tmp_path / "none").does("species", "trident").out


def test_a_garden_s_own_values_are_set_shown_and_forgotten(bench):
    bench.does("species", "trident", "--set", "leaves=5-9", "--set", "work_budbreak=20,0.2")
    shown = bench.does("species", "trident").out
    assert "* 5-9 leaves on a finished shoot" in shown
    assert "* waking work to bud break: 20 days (16-24)" in shown
    assert "this garden's own setting" in shown
    assert "Acer buergerianum*" in bench.does("species").out
    bench.does("species", "trident", "--reset")
    assert "*" not in bench.does("species", "trident").out
    bench.does("species", "Quercus alba", "--set", "names=white oak")
    assert "on Bench. Undo" in bench.does("tree", "add", "Oak 1", "white oak").words


@pytest.mark.parametrize(
    "said, sentence",
    [
        ("defoliation=maybe", "it may be never, once, repeat"),
        ("leafs=3", "species have no field 'leafs'"),
        ("leaves=many", "leaves takes two counts"),
        ("work_budbreak=soon", "a step takes days"),
        ("leaves", "--set takes FIELD=VALUE"),
    ],
)
def test_a_value_that_is_not_allowed_is_refused_and_nothing_is_written(bench, said, sentence):
    before = (bench.folder / "garden.toml").read_bytes()
    assert sentence in bench.refuses("species", "trident", "--set", said)
    assert (bench.folder / "garden.toml").read_bytes() == before


def test_settings_are_shown_and_set(bench):
    assert "units" in bench.does("settings").out
    assert bench.does("settings", "units", "f").words == "units: F (was C)."
    assert bench.does("settings", "units").out == "F\n"
    bench.does("settings", "odds", "95%")
    assert read_settings(bench.folder).odds == 0.95
    bench.does("settings", "odds", "--reset")
    assert read_settings(bench.folder).odds == 0.9
    assert "Did you mean units" in bench.refuses("settings", "unts", "F")
    assert '"C" or "F", not "K"' in bench.refuses("settings", "units", "K")
    assert bench("settings", "--reset").code == 2
