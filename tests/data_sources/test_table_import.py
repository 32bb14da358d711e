"""Spreadsheets and exports into a garden: all or nothing, every bad row at once, rows already there known."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from itertools import count

import pytest

from data_sources.journal.store import Journal
from data_sources.tables import tree_names
from data_sources.tables.dates import DateReader
from data_sources.tables.garden_tables import GardenRecords, write_tables
from data_sources.tables.problems import SHOWN, FileQuestion, TableError
from data_sources.tables.table_import import Answers, plan_import
from data_sources.tables.text_table import read_table
from phenology.model.errors import InputError
from phenology.model.records import Flush, Look, Place, Stand, Tree, Work
from phenology.model.season import SeasonCalendar
from phenology.species.catalogue import load_species

TODAY, NORTH = date(2026, 7, 25), SeasonCalendar()
CATALOGUE = load_species()
BENCH = Place("p", "Bench", 47.0, 8.0)
ROOF = Place("r", "Roof", 47.0, 8.0)


def garden(**more):
    trees = [Tree("t1", "Elm 1", "Ulmus parvifolia"), Tree("t2", "Elm 2", "Ulmus parvifolia")]
    stands = [Stand("s1", "t1", "p"), Stand("s2", "t2", "p")]
    return GardenRecords(places=[BENCH, ROOF], trees=trees, stands=stands, **more)


@pytest.fixture
def take(tmp_path):
    ids = count(1)

    def run(*texts, records=None, **asked):
        paths = []
        for text in texts:
            path = tmp_path / f"file{len(paths) + 1}.csv"
            path.write_text(text, encoding="utf-8")
            paths.append(path)
        return plan_import(
            [read_table(path) for path in paths],
            records or garden(),
            CATALOGUE,
            NORTH,
            today=TODAY,
            new_id=lambda: f"new{next(ids)}",
            answers=Answers(**asked),
        )

    return run


def after(records, plan):
    """The garden once a plan is saved."""
    for record in plan.save:
        for kept in (records.places, records.trees, records.stands, records.flushes, records.looks):
            if kept is not None and type(record).__name__.lower() in _names(records, kept):
                kept[:] = [r for r in kept if r.id != record.id] + [record]
    return records


def _names(records, kept):
    return {
        id(records.places): "place",
        id(records.trees): "tree",
        id(records.stands): "stand",
        id(records.flushes): "flush",
        id(records.looks): "look",
    }[id(kept)]


def of(plan, kind):
    return [record for record in plan.save if isinstance(record, kind)]


LOOKS = "date,tree,species,flush,stage\n2026-05-01,Elm 1,Ulmus parvifolia,1,soft\n2026-06-01,elm 1,,1,firm\n"


def test_looks_go_into_the_flush_of_their_season(take):
    plan = take(LOOKS)
    (flush,) = of(plan, Flush)
    assert [(k.stage, k.flush_id) for k in of(plan, Look)] == [
        ("extending", flush.id),
        ("hardened", flush.id),
    ]
    assert [(r.file, r.added, r.there) for r in plan.reports] == [("file1.csv", 2, 0)]


def test_the_same_file_again_adds_nothing(take):
    records = garden()
    after(records, take(LOOKS, records=records))
    plan = take(LOOKS, records=records)
    assert plan.save == []
    assert [(r.added, r.there) for r in plan.reports] == [(0, 2)]


def test_a_row_twice_in_one_file_counts_once(take):
    plan = take("date,tree,stage\n1 May,Elm 1,soft\n2026-05-01,Elm 1,extending\n")
    assert (len(of(plan, Look)), plan.reports[0].there) == (1, 1)


def test_a_row_may_speak_of_several_trees(take):
    assert [k.tree_id for k in of(take("date,tree,stage\n1 May,elms,soft\n"), Look)] == ["t1", "t2"]


def test_looks_and_work_of_several_files_are_taken_in_the_order_of_their_dates(take):
    looks = "date,tree,stage\n20 Jun 2026,Elm 1,breaking\n1 Jun 2026,Elm 1,firm\n"
    work = "date,tree,work\n2 Jun 2026,Elm 1,cut back\n"
    plan = take(looks, work)
    (cut,) = of(plan, Work)
    woken = next(f for f in of(plan, Flush) if f.started_by == "work")
    assert woken.work_id == cut.id
    stages = {k.stage: k.flush_id for k in of(plan, Look)}
    assert stages["budbreak"] == woken.id != stages["hardened"]


def test_every_bad_row_of_every_file_is_told_at_once_and_nothing_is_taken(take):
    bad = "date,tree,stage\n1 May,Elm 9,soft\n32 May,Elm 1,soft\n1 Aug,Elm 2,frim\n2027-01-01,Elm 2,soft\n"
    with pytest.raises(TableError) as caught:
        take(bad, "date,tree,job\n1 May,Elm 1,cutbak\n")
    assert [(p.file, p.line, p.column) for p in caught.value.problems] == [
        ("file1.csv", 2, "tree"),
        ("file1.csv", 3, "date"),
        ("file1.csv", 4, "stage"),
        ("file1.csv", 5, "date"),
        ("file2.csv", 2, "job"),
    ]
    text = str(caught.value)
    assert "read 'Elm 9'; there is no tree, species or place called 'Elm 9'. Did you mean Elm 1" in text
    assert "read '32 May'; '32 May': there is no 32 May; May has 31 days" in text
    assert "Did you mean cutback" in text


@pytest.mark.parametrize("column", [0, 1, 2])
def test_a_cell_that_holds_a_book_is_told_in_a_few_words_and_holds_nothing_up(take, column):
    cells = ["2026-06-12", "Elm 1", "hardened"]
    cells[column] = "ab" * 50_000
    with pytest.raises(TableError) as caught:
        take(f"date,tree,stage\n{','.join(cells)}\n")
    [problem] = caught.value.problems
    assert problem.line == 2 and len(str(problem)) < 1_200


def test_a_flush_running_backwards_is_a_bad_row_that_says_what_to_write(take):
    with pytest.raises(TableError, match=r"if it is a new flush write its number .* column 'flush'"):
        take("date,tree,stage\n1 May,Elm 1,firm\n1 June,Elm 1,soft\n")
    numbered = take("date,tree,flush,stage\n1 May,Elm 1,1,firm\n1 June,Elm 1,2,soft\n")
    assert [f.started_by for f in of(numbered, Flush)] == ["season", "seen"]


def test_trees_a_file_names_are_added_when_asked(take):
    head = "date,tree,species,flush,stage\n"
    row = f"{head}1 May,Hornbeam 1,Carpinus laxiflora,1,soft\n2 May,Hornbeam 1,,1,soft\n"
    with pytest.raises(TableError, match="--new-trees adds trees that a file names"):
        take(row)
    plan = take(row, new_trees=True)
    (tree,) = of(plan, Tree)
    assert (tree.label, tree.species) == ("Hornbeam 1", "Carpinus laxiflora")
    assert [s.place_id for s in of(plan, Stand)] == ["p"]
    assert len(of(plan, Look)) == 2


def test_a_species_nobody_described_is_taken_with_a_word_but_a_misspelt_one_is_not(take):
    row = "date,tree,species,flush,stage\n1 May,New 1,{},1,soft\n"
    plan = take(row.format("Quercus rubra borealis"), new_trees=True)
    assert plan.warnings == ["Quercus rubra borealis is not in the catalogue: it starts from a neutral guess"]
    with pytest.raises(TableError, match=r"column species: read 'Ulmus parvifola'.*Did you mean"):
        take(row.format("Ulmus parvifola"), new_trees=True)


def test_dates_that_could_be_seen_or_happened_are_asked_about_once_a_file(take):
    text = "date,tree,stage\nmid May,Elm 1,soft\nlate May,Elm 1,soft\n"
    with pytest.raises(FileQuestion, match="say --kind seen or --kind happened"):
        take(text)
    assert {k.kind for k in of(take(text, kind="happened"), Look)} == {"happened"}


def test_about_means_it_happened_and_a_plain_day_that_it_was_seen(take):
    plan = take("date,tree,stage\nabout 10 May,Elm 1,soft\n1 June,Elm 1,soft\n")
    assert [k.kind for k in of(plan, Look)] == ["happened", "seen"]


def test_the_order_of_day_and_month_is_decided_over_the_file(take):
    with pytest.raises(FileQuestion, match=r"file1\.csv: '4/5/2026' may be"):
        take("date,tree,stage\n4/5/2026,Elm 1,soft\n")
    assert (
        of(take("date,tree,stage\n4/5/2026,Elm 1,soft\n", date_order="day-first"), Look)[0].latest.month == 5
    )
    proved = take("date,tree,stage\n4/5/2026,Elm 1,soft\n25/5/2026,Elm 1,soft\n")
    assert [k.latest.day for k in of(proved, Look)] == [4, 25]


def test_a_mapping_is_remembered_for_the_next_file(take):
    text = "tik,tak,tok\n1.5.2026,Elm 1,wobbly\n"
    with pytest.raises(InputError, match="nothing says what the dates here are"):
        take(text)
    plan = take("tik,tak,tok\n1.5.2026,Elm 1,soft\n", mapping={"tik": "date", "tak": "tree", "tok": "stage"})
    kept = [r for r in plan.save if type(r).__name__ == "ImportMap"]
    assert len(kept) == 1
    with pytest.raises(TableError, match="column tok: read 'wobbly'"):
        take(text, records=garden(import_maps=kept))
    again = take("tik,tak,tok\n3.5.2026,Elm 1,soft\n", records=garden(import_maps=kept))
    assert [k.latest.day for k in of(again, Look)] == [3]
    assert again.reports[0].remembered


def test_trees_and_places_import_with_words_for_what_is_wrong(take):
    plan = take(
        "label,species,place,aim,pot,last repot\nMaple 1,trident maple,Roof,refining,oval,March 2025\n"
        "Elm 1,Ulmus parvifolia,,,,\n",
        "place,lat,lon,elevation\nShed,47.1,8.2,410\nBench,47,8,\n",
    )
    (tree,) = of(plan, Tree)
    assert (tree.species, tree.pot, tree.last_repot) == ("Acer buergerianum", "oval", date(2025, 3, 16))
    assert [(s.tree_id, s.place_id) for s in of(plan, Stand)] == [(tree.id, "r")]
    assert [(p.name, p.elevation) for p in of(plan, Place)] == [("Shed", 410.0)]
    assert [(r.table, r.added, r.there) for r in plan.reports] == [("place", 1, 1), ("tree", 1, 1)]
    with pytest.raises(TableError) as caught:
        take(
            "label,species,place,aim\n"
            "Elm 1,Carpinus laxiflora,,\nX,Carpinus laxiflora,Rooof,\nY,Carpinus laxiflora,Roof,big\n"
        )
    told = str(caught.value)
    assert "the garden's Elm 1 is a Ulmus parvifolia; give this tree another label" in told
    assert "no place called 'Rooof'. Did you mean Roof" in told
    assert "write building or refining or resting" in told


@pytest.fixture
def lived_in(take):
    """A garden with looks, work and a second flush."""
    records = garden(works=[], flushes=[], looks=[])
    plan = take(
        "date,tree,stage,note\n1 Jun 2026,Elm 1,firm,=odd\n20 Jun 2026,Elm 1,breaking,\n",
        "date,tree,work\n2 Jun 2026,Elm 1,cut back\n",
        records=records,
    )
    for record in plan.save:
        {Work: records.works, Flush: records.flushes, Look: records.looks}[type(record)].append(record)
    records.flushes[:] = {f.id: f for f in records.flushes}.values()
    return records


def test_an_export_comes_back_as_it_was(lived_in, tmp_path):
    counts = write_tables(tmp_path / "out", lived_in, NORTH)
    assert counts["looks.csv"] == 2
    again = plan_import(
        [read_table(path) for path in sorted((tmp_path / "out").glob("*.csv"))],
        GardenRecords(),
        CATALOGUE,
        NORTH,
        today=TODAY,
        new_id=lambda: pytest.fail("nothing new is made"),
    )
    for table in ("place", "tree", "stand", "aim", "work", "flush", "look"):
        back = [r for r in again.save if type(r) is type((lived_in.of(table) or [None])[0])]
        assert sorted(back, key=lambda r: r.id) == sorted(lived_in.of(table), key=lambda r: r.id)


def test_an_export_edited_in_a_spreadsheet_changes_its_rows_and_adds_new_ones(lived_in, tmp_path):
    write_tables(tmp_path, lived_in, NORTH)
    path = tmp_path / "looks.csv"
    text = path.read_text("utf-8").replace("'=odd", "plain")
    width = text.splitlines()[0].count(",")
    row = "4 July 2026,Elm 1,,2,soft"
    path.write_text(text + row + "," * (width - row.count(",")) + "\n", encoding="utf-8")
    plan = plan_import([read_table(path)], lived_in, CATALOGUE, NORTH, today=TODAY, new_id=lambda: "added")
    changed, added = of(plan, Look)
    assert changed.note == "plain"
    assert (added.id, added.stage) == ("added", "extending")
    assert [(r.added, r.changed, r.there) for r in plan.reports] == [(1, 1, 1)]


def test_looks_exported_elsewhere_are_read_by_their_labels(lived_in, tmp_path, take):
    write_tables(tmp_path / "out", lived_in, NORTH)
    other = GardenRecords(places=[BENCH], trees=[Tree("x", "Elm 1", "Ulmus parvifolia")])
    ids = count(1)
    plan = plan_import(
        [read_table(tmp_path / "out" / name) for name in ("looks.csv", "flushes.csv")],
        other,
        CATALOGUE,
        NORTH,
        today=TODAY,
        new_id=lambda: f"n{next(ids)}",
    )
    assert {k.tree_id for k in of(plan, Look)} == {"x"}
    assert [f.started_by for f in of(plan, Flush)] == ["season", "seen"]
    assert plan.warnings == [
        "flushes.csv was passed over: it points at rows that are not here; import the whole export"
    ]


def test_a_damaged_export_is_told_cell_by_cell(lived_in, tmp_path):
    write_tables(tmp_path, lived_in, NORTH)
    path = tmp_path / "looks.csv"
    path.write_text(path.read_text("utf-8").replace("2026-06-20", "2026-06-31"), encoding="utf-8")
    with pytest.raises(
        TableError, match="column earliest: read '2026-06-31'; write a date such as 2026-07-04"
    ):
        plan_import([read_table(path)], lived_in, CATALOGUE, NORTH, today=TODAY, new_id=str)


def test_what_an_import_saves_the_journal_takes(take, tmp_path):
    with Journal.open(tmp_path / "journal.sqlite", create=True) as journal:
        plan = take(LOOKS, "date,tree,work\n2 Jun 2026,Elm 1,cut back\n")
        with journal.batch("import") as batch:
            for record in [BENCH, *garden().trees, *garden().stands[:2]]:
                batch.insert(record)
            seen = set()
            for record in plan.save:
                if record.id in seen:
                    fields = {k: v for k, v in asdict(record).items() if k != "id"}
                    batch.update(type(record), record.id, **fields)
                else:
                    batch.insert(record)
                seen.add(record.id)
        assert len(journal.looks()) == 2 and len(journal.works()) == 1 and len(journal.flushes()) == 2


MAPLES = [
    Tree("t1", "Trident maple 2", "Acer buergerianum"),
    Tree("t2", "Trident big", "Acer buergerianum"),
    Tree("t3", "Red leaf", "Acer palmatum"),
    Tree("t4", "Elm 1", "Ulmus parvifolia"),
]


@pytest.mark.parametrize(
    ("named", "meant"),
    [("big trident", "Trident big"), ("trident 2", "Trident maple 2"), ("A. palm.", "Red leaf"),
     ("Fächerahorn", "Red leaf"), ("red", "Red leaf")],
)  # fmt: skip
def test_a_tree_is_known_by_the_words_a_person_would_use_and_the_reading_is_told(take, named, meant):
    records = GardenRecords(places=[BENCH], trees=list(MAPLES))
    plan = take(f"date,tree,stage\n2026-05-01,{named},soft\n", records=records)
    (look,) = of(plan, Look)
    assert [tree.label for tree in MAPLES if tree.id == look.tree_id] == [meant]
    assert any(meant in words and named in words for words in plan.warnings)


@pytest.mark.parametrize("named", ["trid", "trident 3", "old palm", "el"])
def test_words_that_fit_several_trees_or_none_are_asked_about(take, named):
    records = GardenRecords(places=[BENCH], trees=list(MAPLES))
    with pytest.raises(TableError, match=named):
        take(f"date,tree,stage\n2026-05-01,{named},soft\n", records=records)


def test_names_of_new_trees_are_not_taken_for_those_there(take):
    text = "date,tree,species,stage\n2026-05-01,Trident 7,trident maple,soft\n2026-05-01,big Trident,,soft\n"
    plan = take(text, records=GardenRecords(places=[BENCH], trees=list(MAPLES)), new_trees=True)
    assert [tree.label for tree in of(plan, Tree)] == ["Trident 7"]
    assert sorted(look.tree_id for look in of(plan, Look))[-1] == "t2"


def test_the_same_words_are_read_once_however_many_rows_hold_them(take, monkeypatch):
    asked = []
    select = tree_names.select_trees
    monkeypatch.setattr(
        tree_names, "select_trees", lambda *a, **m: asked.append((a[0], m)) or select(*a, **m)
    )
    dates = []
    vague = DateReader.vague
    monkeypatch.setattr(DateReader, "vague", lambda self, text: dates.append(text) or vague(self, text))
    rows = [f"2026-05-0{1 + n % 3},{('Elm 1', 'Oak', f'Maple {n % 270}')[n % 3]},soft\n" for n in range(900)]
    plan = take("date,tree,stage\n" + "".join(rows), strict=False)
    assert len(plan.rows) == 900 and len(plan.problems) == 600
    assert len(asked) == len({text for text, _ in asked}) == 1 + 1 + 90
    assert sum(more["suggest"] for _, more in asked) == 1 + SHOWN
    assert sorted(dates) == ["2026-05-01", "2026-05-02", "2026-05-03"]
