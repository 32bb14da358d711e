"""`flushcast import` and `export`. Today is Saturday 25 July 2026."""

from __future__ import annotations

import pytest

from data_sources.garden import open_journal
from data_sources.journal_questions import all_records
from data_sources.weather.store.weather_store import WeatherStore
from phenology.model.errors import StoreError
from reports.garden.place_weather import read_place_weather
from tests.conftest import shared_or_skip
from tests.reports.bench import Bench, new_bench

LOOKS = "date,tree,species,flush,stage\n2026-05-01,Elm 1,Ulmus parvifolia,1,soft\n2026-06-01,Elm 1,,1,firm\n"


@pytest.fixture
def bench(tmp_path):
    return new_bench(tmp_path / "garden")


@pytest.fixture
def file(tmp_path):
    def write(text, name="looks.csv"):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return write


def records(bench):
    with open_journal(bench.folder) as journal:
        return all_records(journal)


def test_an_import_is_one_change_to_undo(bench, file):
    assert bench.does("import", file(LOOKS)).words == "looks.csv: 2 new looks. Undo: flushcast undo"
    assert len(records(bench).looks) == 2
    assert "import of looks.csv: 2 rows" in bench.does("history").out
    bench.does("undo")
    assert records(bench).looks == [] and records(bench).flushes == []


def test_the_same_file_again_changes_nothing(bench, file):
    bench.does("import", file(LOOKS))
    assert "0 new looks, 2 there already. Nothing new" in bench.does("import", file(LOOKS)).words


def test_a_dry_run_checks_and_changes_nothing(bench, file):
    assert "Only checked" in bench.does("import", file(LOOKS), "--dry-run").words
    assert records(bench).looks == []


BAD = "32 May,Elm 1,,1,soft\n2 June,Elm 9,,1,soft\n"


def test_every_bad_row_is_told_with_line_and_column_and_nothing_is_taken(bench, file):
    told = bench.refuses("import", file(LOOKS + BAD), "--strict")
    assert "2 rows cannot be read; nothing was changed." in told
    assert "looks.csv, line 4, column date: read '32 May'" in told
    assert "looks.csv, line 5, column tree: read 'Elm 9'" in told
    assert records(bench).looks == []


def test_columns_are_mapped_once(bench, file):
    text = "tik,tak,leafed out\nElm 1,1st,1.5.2026\nElm 1,2nd,\n"
    told = bench.refuses("import", file(text))
    assert "column leafed out: nothing says what the dates here are; say --map 'leafed out=" in told
    bench.does("import", file(text), "--map", "leafed out=extended")
    again = bench.does("import", file(text.replace("1.5.", "9.5."), "more.csv"))
    assert again.words.startswith("more.csv: 1 new look (columns as remembered)")


def test_dates_that_could_be_two_ask_for_the_order(bench, file):
    bench.does("settings", "date-order", "--reset")
    path = file("date,tree,stage\n4/5/2026,Elm 1,soft\n")
    assert "say --date-order day-first or --date-order month-first" in bench.refuses("import", path)
    bench.does("import", path, "--date-order", "day-first")
    assert records(bench).looks[0].latest.month == 5


def test_what_a_file_leaves_open_is_asked_at_a_terminal(bench, file, monkeypatch):
    monkeypatch.setattr("reports.cli.common.may_ask", lambda: True)
    bench.does("settings", "date-order", "--reset")
    path = file("date,tree,stage\n4/5/2026,Elm 1,soft\nmid June 2026,Elm 1,firm\n")
    told = bench("import", path, input="y\nhappened\n")
    assert told.code == 0 and "say --date-order" in told.words and "say --kind" in told.words
    assert [(k.latest.month, k.kind) for k in records(bench).looks] == [(5, "seen"), (6, "happened")]


def test_the_garden_s_own_order_is_used(bench, file):
    bench.does("settings", "date-order", "month-first")
    told = bench.does("import", file("date,tree,stage\n4/5/2026,Elm 1,soft\n"))
    assert records(bench).looks[0].latest.month == 4
    assert "looks.csv: dates read month-first, as this garden has them" in told.words


def test_a_file_that_tells_its_own_order_is_believed_before_the_garden(bench, file):
    bench.does("settings", "date-order", "month-first")
    told = bench.does("import", file("date,tree,stage\n4/5/2026,Elm 1,soft\n23/5/2026,Elm 1,stopped\n"))
    assert [look.latest.month for look in records(bench).looks] == [5, 5]
    assert "dates read" not in told.words


def test_dates_of_both_orders_ask_whatever_the_garden_s_own_and_the_others_are_put_aside(bench, file):
    bench.does("settings", "date-order", "day-first")
    path = file("date,tree,stage\n5/4/2026,Elm 1,soft\n5/23/2026,Elm 1,stopped\n23/5/2026,Hornbeam 1,soft\n")
    refused = bench.refuses("import", path)
    assert "'5/23/2026' has the month first; but line 4 has the day first; say which" in refused
    told = bench.does("import", path, "--date-order", "month-first").words
    assert [look.latest.isoformat() for look in records(bench).looks] == ["2026-05-04", "2026-05-23"]
    assert "it has month 23; write the month as a word" in told and "1 row left out" in told


def test_an_export_rebuilds_the_same_garden_history_and_all(bench, file, tmp_path):
    bench.does("settings", "units", "F")
    bench.does("import", file(LOOKS))
    bench.does("work", "Elm 1", "cutback", "--date", "2 June", "--note", "=2+2 shoots")
    bench.does("look", "Elm 1", "breaking", "--date", "about 20 June")
    bench.does("undo")
    out = tmp_path / "out"
    assert "2 looks" in bench.does("export", out).words
    other = Bench(tmp_path / "other")
    assert "3 trees, 1 work, 2 looks" in other.does("init", other.folder, "--from", out).words
    assert records(other) == records(bench)
    assert other.does("history").out == bench.does("history").out
    assert other.does("settings", "units").out == "F\n"
    other.does("undo", "--redo")
    assert len(records(other).looks) == 3


def test_an_edited_export_is_taken_back_in(bench, file, tmp_path):
    bench.does("import", file(LOOKS))
    out = tmp_path / "out"
    bench.does("export", out)
    path = out / "looks.csv"
    path.write_text(path.read_text("utf-8").replace(",hardened,", ",extended,"), encoding="utf-8")
    told = bench.does("import", out).words
    assert "looks.csv: 0 new looks, 1 changed, 1 there already." in told
    assert {k.stage for k in records(bench).looks} == {"extending", "extended"}


def with_weather(bench, tmp_path):
    path = tmp_path / "station.csv"
    path.write_text("date,tmin_c,tmax_c\n2026-03-01,1.5,9\n2026-03-02,0.2,7.5\n2026-03-03,-2,5\n", "utf-8")
    bench.does("weather", "add", path)


def days_of(bench):
    with open_journal(bench.folder) as journal:
        places = [place.id for place in journal.places()]
    found = read_place_weather(bench.folder, places, None).weather
    return {place: len(series) for place, series in found.items()}


def test_an_export_brings_its_weather_into_a_garden_that_exists(bench, file, tmp_path):
    bench.does("import", file(LOOKS))
    with_weather(bench, tmp_path)
    out = tmp_path / "out"
    bench.does("export", out)
    other = new_bench(tmp_path / "other")
    assert "weather-bench-station.csv: 3 days of weather" in other.does("import", out, "--dry-run").words
    assert days_of(other) == {}
    told = other.does("import", out).words
    assert "weather-bench-station.csv: 3 new days of weather, 0 there already." in told
    assert "Undo: flushcast undo" in told and "flushcast weather undo" in told
    assert set(days_of(other).values()) == {3}
    again = other.does("import", out).words
    assert "0 new days of weather, 3 there already" in again and "Nothing new" in again


def test_weather_that_cannot_be_read_lets_nothing_in(bench, file, tmp_path):
    bench.does("import", file(LOOKS))
    with_weather(bench, tmp_path)
    out = tmp_path / "out"
    bench.does("export", out)
    path = out / "weather-bench-station.csv"
    path.write_text(path.read_text("utf-8").replace("7.5", "warm"), encoding="utf-8")
    other = new_bench(tmp_path / "other")
    before = records(other)
    assert "weather-bench-station.csv, line 3" in other.refuses("import", out)
    assert records(other) == before and days_of(other) == {}


def test_weather_that_cannot_be_kept_lets_no_record_in(bench, file, tmp_path, monkeypatch):
    bench.does("import", file(LOOKS))
    with_weather(bench, tmp_path)
    own = tmp_path / "own.csv"
    own.write_text("date,tmin_c,tmax_c\n2026-03-01,2,8\n", encoding="utf-8")
    bench.does("weather", "add", own, "--source", "bench")
    out = tmp_path / "out"
    bench.does("export", out)
    other = new_bench(tmp_path / "other")
    before = records(other)
    true_add = WeatherStore.add

    def full(self, place, weather, *more, **named):
        if "station" in weather.source:
            raise StoreError("the disk is full")
        return true_add(self, place, weather, *more, **named)

    monkeypatch.setattr(WeatherStore, "add", full)
    assert "the disk is full" in other.refuses("import", out)
    assert records(other) == before and not any(days_of(other).values())


def test_weather_of_a_place_that_is_not_here_is_left_out_and_said(bench, tmp_path):
    with_weather(bench, tmp_path)
    out = tmp_path / "out"
    bench.does("export", out)
    for name in out.iterdir():
        if name.name not in ("weather.csv", "weather-bench-station.csv", "looks.csv"):
            name.unlink()
    other = new_bench(tmp_path / "other")
    told = other.does("import", out).words
    assert "weather-bench-station.csv is left out" in told and "--place NAME" in told
    assert days_of(other) == {}


def test_an_export_is_not_written_over_by_accident(bench, tmp_path):
    bench.does("export", tmp_path / "out")
    assert "add --replace" in bench.refuses("export", tmp_path / "out")
    bench.does("export", tmp_path / "out", "--replace")
    assert "a garden's own folder" in bench.refuses("export", bench.folder, "--replace")


def test_half_an_export_makes_no_garden(bench, tmp_path):
    out = tmp_path / "out"
    bench.does("export", out)
    (out / "flushes.csv").unlink()
    other = Bench(tmp_path / "other")
    assert "no whole export: it lacks flushes.csv" in other.refuses("init", other.folder, "--from", out)
    assert not other.folder.exists()


def test_a_folder_without_tables_and_a_missing_file_are_told(bench, tmp_path):
    (tmp_path / "empty").mkdir()
    assert "holds no exported tables" in bench.refuses("import", tmp_path / "empty")
    assert "there is no file" in bench.refuses("import", tmp_path / "none.csv")
    assert bench("import", tmp_path / "none.csv", "--map", "date").code == 2


def test_years_of_public_looks_come_in_with_their_trees(tmp_path):
    shared = shared_or_skip("the Harvard Forest looks (HF003, harvardforest.fas.harvard.edu)")
    bench = Bench(tmp_path / "forest")
    bench.does("init", bench.folder, "--lat", "42.5", "--lon", "72.2 W")
    path = shared / "data/harvard_forest/looks.csv"
    told = bench.does("import", path, "--new-trees").words
    assert "looks.csv: 5,492 new looks" in told
    found = records(bench)
    assert len(found.looks) == 5492
    assert {f.started_by for f in found.flushes} == {"season"}
    assert len(found.flushes) == 277  # tree-seasons, as the data set counts them


def test_a_contradiction_shows_the_word_that_stands_in_the_file(bench, file):
    told = bench.refuses("import", file(LOOKS + "2026-06-20,Elm 1,,1,still soft\n"), "--strict")
    assert "line 4, column stage: read 'still soft'; Elm 1: extending (20 Jun 2026) comes after" in told


NOTEBOOK = (
    "Tree,Kind,Bud break,Hardened off,Cut back\n"
    "Trident big,trident maple,3 Apr 2004,10 Jun 2004,12 Jun 2004\n"
    "Trident small,trident maple,5 Apr 2004,soon,14 Jun 2004\n"
)


def test_a_notebook_is_taken_as_it_is_and_taken_back_whole(bench, file):
    """Columns of dates are looks and work, new trees are named, what is doubtful goes beside."""
    path = file(NOTEBOOK, "nb.csv")
    told = bench.refuses("import", path)
    assert "read 'Trident big'; there is no tree, species or place called 'Trident big'; --new-trees" in told
    assert records(bench).looks == []
    taken = bench.does("import", path, "--new-trees")
    assert "nb.csv: 3 new looks, 2 new works." in taken.words
    assert "column Hardened off: read 'soon'" in taken.words
    beside = path.with_name("nb-to-mend.csv")
    assert beside.name in taken.words and "soon,Trident small,hardened" in beside.read_text("utf-8")
    assert "0 new looks, 5 there already. Nothing new" in bench.does("import", path).words
    beside.write_text(beside.read_text("utf-8").replace("soon", "mid June 2004"), "utf-8")
    assert "nb-to-mend.csv: 1 new look." in bench.does("import", beside).words
    bench.does("undo")
    bench.does("undo")
    left = records(bench)
    assert (left.looks, left.works, left.flushes, len(left.trees)) == ([], [], [], 3)


def test_at_a_terminal_an_import_is_shown_and_taken_when_the_grower_says_so(bench, file, monkeypatch):
    for module in ("cli.common", "cli.writing.import_command"):
        monkeypatch.setattr(f"reports.{module}.may_ask", lambda: True)
    path = file(NOTEBOOK.replace("Cut back", "Leafed out"), "nb.csv")
    told = bench("import", path, input="quux\nextended\ny\nn\n")
    assert "which stage or work is it (- passes it over)" in told.words
    assert "there is no stage or work called 'quux'" in told.words
    assert "Trident big: Acer buergerianum" in told.words
    assert "nb.csv: tree; Kind (species); Bud break, Hardened off, Leafed out (looks)." in told.words
    assert "line 2: Trident big: hardened, 10 Jun 2004" in told.words
    assert "Take these 4 rows? [Y/n]: n Nothing was changed." in told.words
    assert records(bench).looks == []
    bench("import", path, input="extended\ny\ny\n")
    assert len(records(bench).looks) == 4


def test_a_dry_run_tells_every_row(bench, file):
    told = bench.does("import", file(NOTEBOOK, "nb.csv"), "--new-trees", "--dry-run").words
    assert "line 3: Trident small: cutback, 14 Jun 2004" in told and "Only checked" in told
    assert records(bench).looks == []
