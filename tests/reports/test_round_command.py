"""`flushcast round` and `flushcast windows`."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from datetime import date
from pathlib import Path

from phenology.advice.agenda import make_agenda, plan_round
from phenology.advice.garden_forecast import forecast_garden
from reports.views.ahead_text import round_text
from tests.reports.demo import FEW, demo_folder, flushcast, own_demo
from tests.reports.opened import read_garden


def test_the_round_names_trees_reasons_and_cautions(tmp_path: Path):
    done = flushcast("round", "--garden", own_demo(tmp_path))  # cautions are said once a day in a garden
    assert done.returncode == 0, done.stderr
    words = " ".join(done.stdout.split())
    assert words.startswith("Round of Sun 14 Jun 2026")
    assert "springing back when pressed" in words and "If hard: cutback" in words
    assert "clean the blades between trees" in words and "the leaf decides" in words
    assert "Maple 2" not in words  # it is being built: a look would change nothing
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_a_sheet_to_print_has_a_box_a_visit():
    done = flushcast("round", "--sheet", "--garden", demo_folder(trees=FEW))
    assert max(map(len, done.stdout.splitlines())) <= 80  # what A4 takes at ten letters to the inch
    assert done.stdout.count("[ ]") == done.stdout.count("stage: ____") >= 2
    assert "swelling  budbreak" in done.stdout


def test_a_filled_sheet_is_read_back_as_one_change(tmp_path: Path):
    garden = own_demo(tmp_path, trees=FEW)
    sheet = tmp_path / "walk.csv"
    made = flushcast("round", "--csv", sheet, "--garden", garden)
    assert made.returncode == 0, made.stderr
    with sheet.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {"Crab apple", "Beech"} <= {r["tree"] for r in rows}
    for row in rows:
        row["stage"] = {"Crab apple": "firm", "Beech": "stopped"}.get(row["tree"], "")
        row["note"] = "from the bench" if row["tree"] in ("Crab apple", "Hornbeam 1") else ""
    with sheet.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    tried = flushcast("round", "--read", sheet, "--dry-run", "--garden", garden)
    assert "2 new looks" in tried.stderr and "nothing was changed" in tried.stderr
    done = flushcast("round", "--read", sheet, "--garden", garden)
    assert done.returncode == 0, done.stderr
    assert "walk.csv: 2 new looks" in done.stderr and "Undo: flushcast undo" in done.stderr
    assert "a note without a stage was passed over" in done.stderr
    forecast = json.loads(flushcast("forecast", "--json", "--garden", garden).stdout)["rows"]
    (crab,) = [r for r in forecast if r["label"] == "Crab apple"]
    assert crab["seen"][1] == "2026-06-14" and crab["p50"] is None
    again = flushcast("round", "--read", sheet, "--garden", garden)
    assert "Nothing new" in again.stderr
    assert flushcast("undo", "--garden", garden).returncode == 0


def test_a_bad_row_is_named_by_its_line_and_nothing_is_saved(tmp_path: Path):
    garden = own_demo(tmp_path, trees=FEW)
    sheet = tmp_path / "walk.csv"
    sheet.write_text(
        "date,tree,stage,note\n2026-06-14,Beech,,\n2026-06-14,Crab apple,furry,\n", encoding="utf-8"
    )
    done = flushcast("round", "--read", sheet, "--garden", garden)
    assert done.returncode == 1 and "walk.csv, line 3" in done.stderr and "furry" in done.stderr


def test_a_row_too_wide_is_told_and_a_column_of_your_own_is_read(tmp_path: Path):
    garden = own_demo(tmp_path, trees=FEW)
    sheet = tmp_path / "walk.csv"
    sheet.write_text("date,tree,stage,note\n2026-06-14,Beech,firm,a,b\n", encoding="utf-8")
    done = flushcast("round", "--read", sheet, "--garden", garden)
    assert done.returncode == 1 and "walk.csv, line 2: 5 cells where the header has 4" in done.stderr
    sheet.write_text("date,tree,stage,leaves\n2026-06-14,Beech,firm,5\n", encoding="utf-8")
    assert flushcast("round", "--read", sheet, "--garden", garden).returncode == 0


def test_sheets_that_cannot_be_used_get_one_sentence(tmp_path: Path):
    garden = demo_folder(trees=FEW)
    other = tmp_path / "other.csv"
    other.write_text("a,b\n1,2\n", encoding="utf-8")
    assert "lacks the column 'date'" in flushcast("round", "--read", other, "--garden", garden).stderr
    assert "is there already" in flushcast("round", "--csv", other, "--garden", garden).stderr
    assert flushcast("round", "--csv", tmp_path / "x", "--sheet", "--garden", garden).returncode == 2
    other.write_text("date,tree,stage\n2026-06-14,Beech,\n", encoding="utf-8")
    assert "No stage was filled in" in flushcast("round", "--read", other, "--garden", garden).stderr


def test_off_season_it_reviews():
    garden, _ = read_garden(demo_folder(date(2026, 1, 20)), date(2026, 1, 20))
    words = " ".join(round_text(plan_round(make_agenda(forecast_garden(garden)))).split())
    assert "First frost: usually by" in words and "Last frost: usually by" in words
    assert "Repot watch" in words and "flushcast compare" in words
    winter = replace(garden, as_of=date(2026, 12, 10), trees=[])  # the one frost is over, the other ahead
    words = " ".join(round_text(plan_round(make_agenda(forecast_garden(winter)))).split())
    assert (
        "First frost" not in words and "Last frost: usually by" in words
    )  # the one is over, the other ahead


def test_a_window_that_likely_opens_after_it_closes_says_so():
    said = flushcast("windows", "Hornbeam", "--garden", demo_folder()).stdout
    words = " ".join(said.split())
    told = [part for part in words.split("Hornbeam ") if "Closes 28 Jul" in part]
    opens = ["22 Jul-5 Aug", "25 Jul-8 Aug", "27 Jul-11 Aug"]
    assert all(f"opens {when}" in part for when, part in zip(opens, told, strict=True))
    later = "It is likelier hard after that: then leave it until bare."
    assert [later in part for part in told] == [False, True, True]


def test_windows_tell_what_waiting_costs():
    done = flushcast("windows", "Beech", "--garden", demo_folder(trees=FEW))
    assert done.returncode == 0, done.stderr
    words = " ".join(done.stdout.split())
    assert "Beech, cutback: opens" in words and "Closes" in words
    assert "done today" in words and "in two weeks" in words and "Crab apple" not in words
    found = json.loads(flushcast("windows", "--json", "--garden", demo_folder(trees=FEW)).stdout)
    assert found["schema"] == "flushcast.windows/1"
    for window in found["windows"]:
        opens = [d for d in window["opens"].values() if d]
        assert opens == sorted(opens)
    assert "cutback" in {w["operation"] for w in found["windows"]}
