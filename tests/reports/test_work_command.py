"""`flushcast work`. Today is Saturday 25 July 2026."""

from __future__ import annotations

import json
from datetime import date

import pytest

from data_sources.garden import open_journal
from tests.reports.bench import new_bench


@pytest.fixture
def bench(tmp_path):
    return new_bench(tmp_path / "garden")


def journal_of(bench):
    return open_journal(bench.folder)


def test_a_cutback_after_a_hard_look_wakes_a_flush_and_minds_the_blades(bench):
    bench.does("look", "hornbeams", "firm", "--date", "1 July")
    answer = bench.does("work", "hornbeams", "cut", "back", "--date", "2 July")
    assert answer.words == (
        "Hornbeam 1, Hornbeam 2: cutback, Thu 2 Jul. Wakes a new flush. Undo: flushcast undo "
        "Hornbeam 1, Hornbeam 2: by a guess from the catalogue it is about 5 in 10 that new growth ripens: "
        "note when buds break and when leaves are hard, and the guess becomes this garden's own. "
        "Look before you cut; clean, sharp blades; mind your eyes; clean the blades between trees."
    )
    with journal_of(bench) as journal:
        woken = [f for f in journal.flushes() if f.started_by == "work"]
        assert {f.work_id for f in woken} == {w.id for w in journal.works()}
        ended = [f for f in journal.flushes() if f.ended_why == "cutback"]
        assert len(woken) == len(ended) == 2


def test_a_cut_of_late_autumn_is_not_said_to_wake_its_tree_at_once(bench):
    answer = bench.on("2026-11-05").does("work", "hornbeams", "cutback")
    assert "Wakes a new flush, perhaps only in spring." in answer.words


def test_a_tree_that_is_gone_is_retired_and_what_is_written_of_it_later_says_so(bench):
    assert "flushcast tree retire" in bench.refuses("work", "Elm 1", "died")
    bench.does("tree", "retire", "Elm 1")
    assert "Elm 1: retired by then." in bench.does("look", "Elm 1", "hardened").words
    assert "retired" not in bench.does("look", "Elm 1", "extended", "--date", "1 July").words


def test_without_a_look_the_work_itself_will_count_and_says_so(bench):
    answer = bench.does("work", "Elm 1", "halving")
    assert "No look says the leaves were hard" in answer.words
    assert "No look" not in bench.does("work", "Hornbeam 1", "halving", "--early").words
    with journal_of(bench) as journal:
        assert [w.early for w in journal.works()].count(True) == 1


def test_work_that_wakes_nothing_says_why(bench):
    winter = bench.on("2026-02-10")
    assert "wakes no flush, buds had not broken" in winter.does("work", "Elm 1", "pinching").words


def test_repotting_and_moving_change_the_tree_too(bench):
    bench.does("place", "add", "Roof")
    bench.does("work", "Elm 1", "repotted", "--date", "20 March")
    bench.does("work", "Elm 1", "moved", "--to", "roof", "--date", "1 May")
    with journal_of(bench) as journal:
        elm = next(t for t in journal.trees() if t.label == "Elm 1")
        assert elm.last_repot == date(2026, 3, 20)
        assert journal.stands(elm.id)[-1].from_date == date(2026, 5, 1)
    assert "goes with moving" in bench.refuses("work", "Elm 1", "feeding", "--to", "Roof")


def test_cautions_name_sap_and_species_that_do_not_stand_it(bench):
    bench.does("tree", "add", "Fig 1", "Ficus carica")
    words = bench.does("work", "Fig 1", "cutback").words
    assert "Ficus carica: its sap irritates: gloves on, hands away from eyes, blades wiped." in words
    bench.does("tree", "add", "Birch 1", "Betula pendula")
    words = bench.does("work", "Birch 1", "defoliated").words
    assert "Birch 1: silver birch is never defoliated" in words and "Written down all the same." in words


def test_a_second_defoliation_in_a_season_is_minded_unless_the_species_stands_it(bench):
    for label, species in [("Maple 1", "Acer buergerianum"), ("Field 1", "Acer campestre")]:
        bench.does("tree", "add", label, species)
        bench.does("work", label, "partial", "--date", "1 June")
    assert "once a season" not in bench.does("work", "Maple 1", "partial").words
    assert "Field 1: defoliated on 1 Jun already" in bench.does("work", "Field 1", "partial").words


@pytest.mark.parametrize(
    "args, sentence",
    [
        (["Elm 1", "cutback", "--date", "2026-08-01"], "is in the future"),
        (["Elm 1", "cutbak"], "no operation called 'cutbak'. Did you mean cutback"),
        (["Olm 1", "cutback"], "Did you mean Elm 1"),
        (["Elm 1", "moving", "--to", "Rof"], "no place called 'Rof'"),
    ],
)
def test_what_cannot_be_used_gets_one_sentence(bench, args, sentence):
    assert sentence in bench.refuses("work", *args)
    with journal_of(bench) as journal:
        assert journal.works() == []


def test_work_is_listed_corrected_and_taken_out(bench):
    bench.does("look", "Elm 1", "firm", "--date", "1 July")
    bench.does("work", "Elm 1", "cutback", "--date", "2 July")
    id = bench.does("work", "--list").out.splitlines()[1].split()[0]
    assert (
        "(was cutback, Thu 2 Jul)" in bench.does("work", "--correct", id, "halving", "--date", "3 July").words
    )
    with journal_of(bench) as journal:
        assert [(f.started_by, f.ended_on) for f in journal.flushes()] == [("season", None)]
    bench.does("work", "--correct", id, "cutback")
    with journal_of(bench) as journal:
        woken = next(f for f in journal.flushes() if f.started_by == "work")
        assert woken.started_on == date(2026, 7, 3)
    bench.does("work", "--remove", id)
    with journal_of(bench) as journal:
        assert journal.works() == [] and len(journal.flushes()) == 1


def test_a_correction_of_a_note_leaves_the_flushes_alone(bench):
    bench.does("work", "Elm 1", "cutback", "--date", "2 July")
    with journal_of(bench) as journal:
        before = journal.flushes()
    id = bench.does("work", "--list").out.splitlines()[1].split()[0]
    bench.does("work", "--correct", id, "--note", "dry day")
    assert "nothing to correct" in bench.refuses("work", "--correct", id)
    with journal_of(bench) as journal:
        assert journal.flushes() == before
        assert journal.works()[0].note == "dry day"


def test_the_same_work_again_is_known(bench):
    bench.does("work", "Elm 1", "feeding")
    assert "written down already" in bench.does("work", "Elm 1", "feeding").words


def test_calibrate_says_that_work_on_one_weekend_may_be_a_habit(bench, tmp_path):
    from tests.phenology.gardens import weather

    lines = ["date,tmin,tmax"]
    series = weather()
    for n, (low, high) in enumerate(zip(series.tmin, series.tmax, strict=True)):
        lines.append(f"{date.fromordinal(series.first_day.toordinal() + n)},{low:.1f},{high:.1f}")
    path = tmp_path / "w.csv"
    path.write_text("\n".join(lines))
    bench = bench.on("2020-12-31")
    bench.does("weather", "add", path, "--units", "C")
    for day in ("2018-06-23", "2019-06-22", "2020-06-27"):
        bench.does("work", "Elm 1", "cutback", "--date", day)
    told = bench.does("calibrate", "elm").out
    assert "The habit may be" in told and max(map(len, told.splitlines())) <= 80
    assert json.loads(bench.does("calibrate", "elm", "--json").out)["work_habits"][0]["weekday"] == "Saturday"
    bench.does("look", "Elm 1", "still soft", "--date", "2020-06-20")
    assert "habit" not in bench.does("calibrate", "elm").out


def test_heat_is_told_in_the_garden_s_own_units(tmp_path):
    bench = new_bench(tmp_path / "garden", "--units", "F")
    bench.does("weather", "add", hot_weather(tmp_path, swing=3), "--units", "C")
    told = bench.does("work", "Elm 1", "cutback", "--date", "10 July").words
    assert "°F on" in told and "°C" not in told


def test_weather_that_cannot_be_used_stops_nobody_from_writing_work_down(bench, tmp_path):
    bench("weather", "add", hot_weather(tmp_path, swing=1), "--units", "C")  # a stuck thermometer
    told = bench.does("work", "Elm 1", "cutback", "--date", "10 July").words
    assert "Not held against the weather: all weather there is looks doubtful" in told
    (bench.folder / "weather.sqlite").write_bytes(b"no longer a store")
    assert "Not held against" in bench.does("work", "Elm 1", "feeding", "--date", "11 July").words
    with open_journal(bench.folder) as journal:
        assert len(journal.works()) == 2


def hot_weather(folder, swing):
    """Two and a half years of days at 34 °C and more, or all alike."""
    first = date(2024, 1, 1).toordinal()
    days = [f"{date.fromordinal(first + n)},{18 + n * 7 % swing},{34 + n * 5 % swing}" for n in range(936)]
    path = folder / "w.csv"
    path.write_text("\n".join(["date,tmin,tmax", *days]))
    return path


def test_a_day_still_to_come_is_not_last_year_s_unasked(tmp_path, monkeypatch):
    bench = new_bench(tmp_path / "garden").on("2026-05-20")
    bench.does("settings", "date-order", "month-first")
    told = bench.refuses("work", "Elm 1", "cutback", "--date", "6/1")
    assert "'6/1' without a year is Jun 1, 2025, and Jun 1, 2026 is still to come: write the year" in told
    bench.does("work", "Elm 1", "cutback", "--date", "6/1/2025")
    monkeypatch.setattr("reports.cli.writing.entry_commands.may_ask", lambda: True)
    asked = bench("work", "Hornbeam 1", "cutback", "--date", "6/1", input="n\n")
    assert "Is Jun 1, 2025 meant? [Y/n]: n" in asked.words and "Undo" not in asked.words
