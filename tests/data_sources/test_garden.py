"""A garden's folder: its settings and how it is made."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from data_sources.garden import (
    JOURNAL_NAME,
    SETTINGS_NAME,
    GardenSettings,
    create_garden,
    open_journal,
    read_settings,
    write_settings,
)
from phenology.model.errors import InputError, StoreError
from tests.data_sources.journal_help import GARDEN, a_look
from tests.data_sources.test_journal_opening import as_nobody, posix_only

FULL = GardenSettings(
    name="Larkfield benches",
    units="F",
    season_start="07-01",
    date_order="month-first",
    odds=0.8,
    first_weekday="sunday",
    weather_sources=("bench", "station"),
    contact="trees@example.org",
    stands_on=date(2026, 6, 14),
    species={"Acer palmatum": {"growth": "fixed", "leaves": [2, 4]}, "Quercus invented": {}},
)


def settings_file(folder: Path, text: str) -> Path:
    path = folder / SETTINGS_NAME
    path.write_text(text, encoding="utf-8")
    return path


# -- settings -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("wanted", [GardenSettings(), FULL])
def test_settings_come_back_as_they_were_written(tmp_path: Path, wanted: GardenSettings) -> None:
    write_settings(tmp_path, wanted)
    assert read_settings(tmp_path) == wanted
    assert os.listdir(tmp_path) == [SETTINGS_NAME]


def test_a_new_file_holds_what_differs_and_says_what_it_means(tmp_path: Path) -> None:
    write_settings(tmp_path, GardenSettings("Larkfield", odds=0.8))
    assert (tmp_path / SETTINGS_NAME).read_text() == (
        "# The garden's settings. Edit them here, or with 'flushcast settings'.\n\n"
        'name = "Larkfield"\n'
        'units = "C" # C or F\n'
        "odds = 0.8 # how sure a woken flush must be to ripen before the last safe date\n"
    )


def test_writing_keeps_comments_and_order_and_touches_only_what_differs(tmp_path: Path) -> None:
    text = (
        "# by the shed\n"
        'units = "C"  # as my thermometer\n'
        "odds = 0.80   # careful\n"
        'name = "Larkfield"\n'
        "\n"
        "[weather]  # ask these\n"
        'sources = ["bench", "station"]\n'
        "\n"
        '[species."Acer palmatum"]\n'
        'growth = "fixed" # here it is\n'
        "leaves = [2, 4]\n"
    )
    path = settings_file(tmp_path, text)
    write_settings(tmp_path, read_settings(tmp_path))
    assert path.read_text() == text
    changed = replace(
        read_settings(tmp_path),
        units="F",
        contact="trees@example.org",
        species={"Acer palmatum": {"growth": "free"}, "Zelkova serrata": {"leaves": [4, 8]}},
    )
    write_settings(tmp_path, changed)
    assert read_settings(tmp_path) == changed
    now = path.read_text()
    for kept in (
        "# by the shed",
        'units = "F"  # as my thermometer',
        "odds = 0.80   # careful",
        "# ask these",
    ):
        assert kept in now
    assert 'growth = "free" # here it is' in now and "leaves = [2, 4]" not in now


@given(
    before=st.builds(
        GardenSettings,
        name=st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1).filter(str.strip),
        units=st.sampled_from("CF"),
        season_start=st.none() | st.sampled_from(["01-01", "07-01", "12-31"]),
        odds=st.floats(0.5, 0.99),
        weather_sources=st.lists(st.sampled_from(["bench", "station", "model"]), unique=True).map(tuple),
        contact=st.none() | st.just("a@example.org"),
        stands_on=st.none() | st.dates(date(2000, 1, 1), date(2100, 1, 1)),
        species=st.dictionaries(
            st.sampled_from(["Acer palmatum", "Zelkova serrata", "A new 'one'"]),
            st.fixed_dictionaries({}, optional={"growth": st.sampled_from(["fixed", "free"])}),
        ),
    ),
    after=st.sampled_from([GardenSettings(), FULL]),
)
@settings(max_examples=40)
def test_any_settings_follow_any_others(
    tmp_path_factory: pytest.TempPathFactory, before: GardenSettings, after: GardenSettings
) -> None:
    folder = tmp_path_factory.mktemp("garden")
    for wanted in (before, after, before):
        write_settings(folder, wanted)
        assert read_settings(folder) == wanted


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("odds = 2", r"'odds' must be a number from 0.5 to 0.99, not 2"),
        ("odds = true", r"'odds' must be a number"),
        ('units = "K"', r"'units' must be \"C\" or \"F\", not \"K\""),
        ('season_start = "02-30"', r"'season_start' must be a month and day"),
        ('season_start = "1 July"', r"'season_start' must be a month and day such as \"07-01\""),
        ('date_order = "ymd"', r"'date_order' must be \"day-first\" or \"month-first\" or \"year-first\""),
        ('first_weekday = "1"', r"'first_weekday' must be \"monday\" or"),
        ("stands_on = 2026-06-14T10:00:00", r"'stands_on' must be a date without quotes"),
        ("name = ''", r"'name' must be a text in quotes"),
        ("weather = 3", r"there is no setting 'weather'"),
        ("[weather]\nsources = 'bench'", r"'weather.sources' must be a list of texts"),
        ('unit = "C"', r"there is no setting 'unit'; did you mean units"),
        ("species = 3", r"'species' must be tables such as \[species"),
        ('[species."Acer palmatum"]\ngrowth = "wild"', r"Acer palmatum.*growth"),
        ("name = Larkfield", r"does not read as TOML: .*line 1"),
    ],
)
def test_a_wrong_setting_names_file_key_and_what_is_allowed(tmp_path: Path, text: str, told: str) -> None:
    path = settings_file(tmp_path, text)
    with pytest.raises(InputError, match=told) as error:
        read_settings(tmp_path)
    assert str(path) in str(error.value) and "\n" not in str(error.value)


def test_small_differences_of_writing_are_taken(tmp_path: Path) -> None:
    (tmp_path / SETTINGS_NAME).write_bytes('\ufeffunits = "f"\r\nfirst_weekday = "Sunday"\r\n'.encode())
    read = read_settings(tmp_path)
    assert (read.units, read.first_weekday, read.odds) == ("F", "sunday", 0.9)


def test_no_garden_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match=r"no garden in .* run 'flushcast init'"):
        read_settings(tmp_path)


def test_a_file_that_is_not_text_is_told(tmp_path: Path) -> None:
    (tmp_path / SETTINGS_NAME).write_bytes(b"name = \xff\xfe")
    with pytest.raises(InputError, match="is not UTF-8 text"):
        read_settings(tmp_path)


def test_wrong_values_are_not_written(tmp_path: Path) -> None:
    write_settings(tmp_path, GardenSettings("Larkfield"))
    with pytest.raises(InputError, match="'odds' must be"):
        write_settings(tmp_path, GardenSettings("Larkfield", odds=1.5))
    assert read_settings(tmp_path) == GardenSettings("Larkfield")


def test_a_failed_write_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_settings(tmp_path, GardenSettings("Larkfield"))

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(StoreError, match=r"no space left on device\. The settings are as they were"):
        write_settings(tmp_path, FULL)
    assert read_settings(tmp_path).name == "Larkfield" and os.listdir(tmp_path) == [SETTINGS_NAME]


# -- making a garden ----------------------------------------------------------------------------------------


def test_a_garden_is_made_with_its_settings_and_first_records_in_one_batch(tmp_path: Path) -> None:
    folder = tmp_path / "far" / "garden"
    create_garden(folder, FULL, [*reversed(GARDEN), a_look("k1")], "made the garden", device="phone")
    assert sorted(os.listdir(folder)) == [SETTINGS_NAME, JOURNAL_NAME]
    assert read_settings(folder) == FULL
    with open_journal(folder) as journal:
        (change,) = journal.history()
        assert (change.label, change.device) == ("made the garden", "phone")
        assert change.rows == {"flush": 1, "stand": 1, "tree": 1, "place": 1, "look": 1}
        assert journal.warnings == [] and journal.check() is None


def test_an_existing_garden_is_refused_and_left(tmp_path: Path) -> None:
    create_garden(tmp_path, FULL, GARDEN, "made")
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    with pytest.raises(StoreError, match=r"there is a garden in .* already; nothing was changed"):
        create_garden(tmp_path, GardenSettings(), [], "again")
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before


def test_backups_without_a_journal_are_no_place_for_a_new_garden(tmp_path: Path) -> None:
    create_garden(tmp_path, FULL, GARDEN, "made")
    with open_journal(tmp_path) as journal:
        journal.backup()
    (tmp_path / JOURNAL_NAME).unlink()
    with pytest.raises(StoreError, match="'flushcast restore' shows"):
        create_garden(tmp_path, GardenSettings(), [], "again")


@pytest.mark.parametrize(
    ("wanted", "records"),
    [
        (FULL, [*GARDEN[1:]]),  # a stand whose place is missing
        (FULL, [*GARDEN, replace(a_look("k1"), kind="heard")]),
        (replace(FULL, odds=7.0), GARDEN),
    ],
)
def test_what_cannot_be_stored_leaves_nothing_behind(
    tmp_path: Path, wanted: GardenSettings, records: list[object]
) -> None:
    with pytest.raises(InputError):
        create_garden(tmp_path / "a" / "b", wanted, records, "made")  # type: ignore[arg-type]
    assert os.listdir(tmp_path) == []


def test_a_failure_at_the_last_step_puts_the_settings_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = 'name = "mine" # written by hand\n'
    settings_file(tmp_path, text)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("data_sources.garden.place_new", full)
    with pytest.raises(StoreError, match=r"no space left on device\. Nothing was created"):
        create_garden(tmp_path, GardenSettings("Larkfield"), GARDEN, "made")
    assert (tmp_path / SETTINGS_NAME).read_text() == text and os.listdir(tmp_path) == [SETTINGS_NAME]


def test_settings_written_by_hand_before_keep_their_comments(tmp_path: Path) -> None:
    settings_file(tmp_path, '# mine\nname = "x"\n')
    create_garden(tmp_path, GardenSettings("Larkfield"), GARDEN, "made")
    assert (tmp_path / SETTINGS_NAME).read_text().startswith('# mine\nname = "Larkfield"\n')


@posix_only
def test_a_folder_nobody_may_write_is_one_sentence(open_folder: Path) -> None:
    open_folder.chmod(0o555)
    code = """
from data_sources.garden import GardenSettings, create_garden
create_garden(path, GardenSettings("Larkfield"), [], "made")
"""
    told = as_nobody(code, open_folder / "garden")
    open_folder.chmod(0o755)
    assert told.startswith("StoreError making the garden in") and len(told.splitlines()) == 1
    assert "permission denied. Nothing was created." in told


def test_a_journal_that_is_not_there_says_so(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match=r"no journal at .*journal.sqlite"):
        open_journal(tmp_path)
