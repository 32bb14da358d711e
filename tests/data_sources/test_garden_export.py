"""Any garden, exported and rebuilt, is the same garden: records, history, settings."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from data_sources.garden import GardenSettings, create_garden, open_journal, read_settings
from data_sources.garden_export import export_garden, rebuild_garden
from data_sources.journal.schema import ImportMap
from data_sources.journal_questions import all_records
from data_sources.tables.garden_tables import FILES
from phenology.model.errors import InputError
from phenology.model.operations import Operation
from phenology.model.records import Aim, Flush, Look, Place, Stand, Tree, Work
from phenology.model.season import SeasonCalendar
from phenology.model.stages import Part, Stage

NORTH = SeasonCalendar()
AT = datetime(2026, 7, 25, 12, tzinfo=UTC)

words = st.text(st.characters(codec="utf-8", exclude_characters="\x00"), max_size=8) | st.sampled_from(
    [
        "=1+1",
        "'quoted",
        "",
        " spaced ",
        "two\nlines",
        "a,b;c\td",
        "-5",
        "@x",
        "\r",
        '"',
        "\ufeff",
        "''",
        "'=x",
    ]
)
some = st.none() | words
parts = st.none() | st.sampled_from(Part)
days = st.dates(date(1950, 1, 1), date(2026, 7, 25))
numbers = st.floats(-90, 90, allow_nan=False)


@st.composite
def gardens(draw):
    """Records of a garden, in an order in which none points at one that comes later."""
    n_places, n_trees = draw(st.integers(1, 2)), draw(st.integers(0, 3))
    records = [
        Place(f"p{i}", draw(words), draw(numbers), draw(numbers), draw(st.none() | numbers), draw(some),
              draw(words), draw(some), draw(some))
        for i in range(n_places)
    ]  # fmt: skip
    for t in range(n_trees):
        tree = f"t{t}"
        retired, repot = draw(st.none() | days), draw(st.none() | days)
        records.append(
            Tree(tree, draw(words), draw(words), draw(some), repot, draw(some), draw(some), retired)
        )
        records.append(Stand(f"s{t}", tree, f"p{draw(st.integers(0, n_places - 1))}", draw(st.none() | days)))
        records.append(
            Aim(f"a{t}", tree, draw(st.sampled_from(["building", "refining"])), draw(st.none() | days))
        )
        first = draw(days)
        last = first + timedelta(days=draw(st.integers(0, 40)))
        records.append(
            Work(f"w{t}", tree, draw(st.sampled_from(list(Operation))), draw(words), first, last,
                 draw(parts), draw(st.booleans()), draw(some), draw(some))
        )  # fmt: skip
        records.append(Flush(f"f{t}", tree, first.year, "work", first, f"w{t}", draw(some), draw(parts)))
        records.append(Flush(f"g{t}", tree, first.year, "season", None, None, None, None, last, draw(some)))
        for k in range(draw(st.integers(0, 3))):
            records.append(
                Look(f"k{t}{k}", tree, f"f{t}", draw(st.sampled_from(Stage)), draw(words), first, last,
                     draw(st.sampled_from(["seen", "happened"])), draw(st.booleans()), draw(st.booleans()),
                     draw(parts), draw(some), draw(some), draw(some))
            )  # fmt: skip
    if draw(st.booleans()):
        records.append(ImportMap("m", draw(words), "look", draw(words), draw(words)))
    return records


def histories(folder):
    with open_journal(folder) as journal:
        return [(c.label, c.at, c.rows, c.undone) for c in journal.history()]


def records_of(folder):
    with open_journal(folder) as journal:
        return all_records(journal)


@given(gardens())
@settings(max_examples=40)
def test_an_export_rebuilds_the_garden_exactly(tmp_path_factory, records):
    room = tmp_path_factory.mktemp("garden")
    create_garden(room / "a", GardenSettings(name="A", units="F"), records, "made")
    with open_journal(room / "a") as journal:
        with journal.batch("a note", at=AT) as batch:
            batch.update(Place, "p0", note="changed")
        journal.undo(at=AT)
        counts = export_garden(room / "out", journal, room / "a" / "garden.toml", NORTH)
    assert counts["looks.csv"] == sum(isinstance(r, Look) for r in records)
    rebuild_garden(room / "b", room / "out")
    assert records_of(room / "b") == records_of(room / "a")
    assert histories(room / "b") == histories(room / "a")
    assert read_settings(room / "b") == read_settings(room / "a")


@pytest.fixture
def exported(tmp_path):
    tree = Tree("t", "Elm 1", "Ulmus parvifolia")
    create_garden(tmp_path / "a", GardenSettings(), [Place("p", "Bench", 1.0, 2.0), tree], "made")
    with open_journal(tmp_path / "a") as journal:
        export_garden(tmp_path / "out", journal, tmp_path / "a" / "garden.toml", NORTH)
    return tmp_path / "out"


def test_every_table_and_the_history_have_a_file(exported):
    assert {p.name for p in exported.iterdir()} == {
        *FILES.values(),
        "changes.csv",
        "garden.toml",
        "weather.csv",
    }
    assert (exported / "trees.csv").read_text().splitlines()[1].startswith("Elm 1,Ulmus parvifolia,")


@pytest.mark.parametrize(
    "file, old, new, sentence",
    [
        ("places.csv", "1.0", "north", "places.csv, line 2, column latitude: read 'north'; write a number"),
        ("places.csv", "latitude", "lat", "has not the columns of an export"),
        ("changes.csv", "1,", "one,", "changes.csv, line 2: this is no row of an exported history"),
        ("garden.toml", "units", "unis", "there is no setting 'unis'"),
    ],
)
def test_a_damaged_export_makes_no_garden(exported, tmp_path, file, old, new, sentence):
    path = exported / file
    path.write_text(path.read_text().replace(old, new, 1))
    with pytest.raises(InputError, match=sentence):
        rebuild_garden(tmp_path / "b", exported)
    assert not (tmp_path / "b" / "journal.sqlite").exists()


def test_rows_changed_in_a_spreadsheet_stand_and_the_history_says_so(exported, tmp_path):
    path = exported / "trees.csv"
    path.write_text(path.read_text().replace("Elm 1", "Elm 9"))
    rebuild_garden(tmp_path / "b", exported)
    assert [t.label for t in records_of(tmp_path / "b").trees] == ["Elm 9"]
    assert histories(tmp_path / "b")[0][0] == "rebuilt from files"
