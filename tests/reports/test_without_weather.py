"""A new garden without weather, or with 45 days of an own thermometer: every command serves, and says so."""

from __future__ import annotations

import json
from datetime import date, timedelta
from pathlib import Path

import pytest

from reports.notebook import open_garden
from tests.reports.bench import Bench

TODAY = "2024-05-20"
TREES = ("Maple=Acer palmatum", "Elm=Ulmus parvifolia")
MORE = ((0, False), (45, False), (45, True))
NONE = "No weather yet: dates rest on the usual warmth of latitude"
SHARPEN = "sharpen them with `flushcast weather update` or `flushcast weather add FILE`."


def new_garden(
    folder: Path, latitude: float = 48.1, elevation: float = 540, today: str = TODAY, units: str = "C"
) -> Bench:
    bench = Bench(folder, today)
    trees = [word for tree in TREES for word in ("--tree", tree)]
    where = "--lat", latitude, "--lon", 8.2, "--elevation", elevation
    bench.does("init", folder, *where, "--units", units, *trees)
    return bench


def own_thermometer(bench: Bench, days: int = 45) -> None:
    """Days of a warm spring up to today, as a logger gives them."""
    last = date.fromisoformat(bench.today)
    rows = ["date,tmin,tmax"]
    for k in range(days):
        swing = 3.0 * ((k * 7) % 5 - 2) / 2
        low, high = 6 + 0.1 * k + swing, 18 + 0.15 * k + swing
        rows.append(f"{last - timedelta(days=days - k)},{low:.1f},{high:.1f}")
    path = bench.folder / "own.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    bench.does("weather", "add", path, "--units", "C", "--source", "bench")


def rows_of(bench: Bench) -> dict[tuple[str, str], dict]:
    told = json.loads(bench.does("forecast", "--json").out)
    return {(row["label"], row["stage"]): row for row in told["rows"]}


def width(row: dict) -> int:
    return (date.fromisoformat(row["p90"]) - date.fromisoformat(row["p10"])).days


@pytest.mark.parametrize(
    ("days", "looked"), [(0, True), *(pytest.param(d, k, marks=pytest.mark.slow) for d, k in MORE)]
)
def test_every_command_serves_and_says_what_dates_rest_on(tmp_path: Path, days: int, looked: bool) -> None:
    bench = new_garden(tmp_path / "g")
    if days:
        own_thermometer(bench, days)
    if looked:
        bench.does("look", "Maple", "budbreak", "--date", "2024-04-22")
        bench.does("look", "Elm", "extending")
    says = NONE if not days else "Only 45 days of weather, to 19 May: dates rest on that and the usual warmth"
    told = {
        "forecast": ("forecast",),
        "changes": ("forecast", "--changes"),
        "round": ("round",),
        "windows": ("windows",),
        "plan": ("plan",),
        "check": ("check", "Maple", "cutback"),
        "calendar": ("calendar", "--out", tmp_path / "g.ics"),
        "report": ("report", "--out", tmp_path / "g.html"),
        "garden": ("chart", "garden", "--out", tmp_path / "g.svg"),
        "tree": ("chart", "tree", "--tree", "Maple", "--out", tmp_path / "m.svg"),
        "calibrate": ("calibrate",),
    }
    for name, words in told.items():
        answer = bench.does(*words)
        said = " ".join(f"{answer.out} {answer.err}".split())
        assert said.count(says) == 1 and said.count(SHARPEN) == 1, (name, said)
    for written in ("g.ics", "g.html"):
        text = (tmp_path / written).read_text(encoding="utf-8").replace("\n ", "").replace("\\,", ",")
        assert says in " ".join(text.split()), written
    assert says in json.loads(bench.does("forecast", "--json").out)["warnings"][0]
    notebook = open_garden(bench.folder)
    assert not notebook.forecast().empty and says in notebook.outlook.usual_warmth
    assert not notebook.last_safe_dates().empty


def test_a_guess_asks_for_looks_and_never_for_a_cut(tmp_path: Path) -> None:
    for today in ("2024-02-29", "2024-05-20", "2024-07-20"):
        bench = new_garden(tmp_path / today, today=today)
        said = " ".join(bench.does("forecast").out.split())
        assert ", a guess" in said and ("look weekly from" in said or "Today: look at these" in said)
        assert "Stop by" not in said and "Probably" not in said
        assert json.loads(bench.does("check", "Maple", "cutback", "--json").out)["rows"][0]["answer"] != "yes"
    windows = " ".join(bench.on("2024-10-25").does("windows").out.split())
    assert "very probably open by now" in windows and ": opens" not in windows  # nor is a day gone by to come


def test_days_of_an_own_thermometer_narrow_the_dates(tmp_path: Path) -> None:
    bench = new_garden(tmp_path / "g")
    bench.does("look", "Maple", "budbreak", "--date", "2024-04-22")
    blind = rows_of(bench)
    own_thermometer(bench)
    seen = rows_of(bench)
    for stage in ("extended", "hardened"):
        assert width(seen["Maple", stage]) < 0.9 * width(blind["Maple", stage])


def test_recorded_hardening_dates_alone_bring_the_date_back(tmp_path: Path) -> None:
    """Four seasons of about the same date, and no weather in any of them."""
    bench = new_garden(tmp_path / "g", today="2024-04-01")
    before = rows_of(bench)["Maple", "hardened"]
    looks = [
        f"{year}-06-{day + days:02d},Maple,{stage}"
        for year, day in zip(range(2020, 2024), (8, 12, 10, 11), strict=True)
        for days, stage in ((-4, "extending"), (3, "hardened"))
    ]
    (tmp_path / "looks.csv").write_text("\n".join(["date,tree,stage", *looks]))
    bench.does("import", tmp_path / "looks.csv")
    row = rows_of(bench)["Maple", "hardened"]
    assert date(2024, 6, 3) <= date.fromisoformat(row["p50"]) <= date(2024, 6, 18)
    assert before["p90"] is None or width(row) < width(before) / 2


@pytest.mark.parametrize(
    "latitude, spring", [(60.1, (4, 6)), (48.1, (2, 5)), (-37.8, (7, 10)), (-45.0, (8, 11))]
)
def test_spring_is_looked_for_in_spring(tmp_path: Path, latitude: float, spring: tuple[int, int]) -> None:
    first = "2024-01-10" if latitude > 0 else "2024-07-10"
    bench = new_garden(tmp_path / "g", latitude, 100, today=first)
    rows = rows_of(bench)
    hard = rows["Maple", "hardened"]
    assert hard["p10"] <= hard["look_on"] and (hard["last_safe"] or "9999") >= hard["p10"]
    row = rows["Maple", "budbreak"]
    for when in ("p10", "look_on", "p50"):
        assert spring[0] <= date.fromisoformat(row[when]).month <= spring[1], (when, row[when])


def test_a_high_garden_is_later_and_the_tropics_say_what_can_be_said(tmp_path: Path) -> None:
    low, high = (
        rows_of(new_garden(tmp_path / str(h), 47.0, h, today="2024-01-10"))["Elm", "budbreak"]["p50"]
        for h in (100, 1500)
    )
    assert date.fromisoformat(high) - date.fromisoformat(low) > timedelta(days=14)
    tropical = new_garden(tmp_path / "t", 4.0, 10, units="F")
    said = " ".join(tropical.does("forecast").out.split())
    assert "the usual warmth of latitude 4 north" in said
    assert "frost" not in " ".join(tropical.does("windows").out.split())


@pytest.mark.parametrize("latitude", [60, 36])
def test_dates_of_cuts_alone_put_no_bud_break_into_winter(tmp_path: Path, latitude: float) -> None:
    bench = new_garden(tmp_path / "g", latitude, 100, today="2024-01-20")
    before = rows_of(bench)["Elm", "budbreak"]
    for year in (2020, 2021, 2022, 2023):
        bench.does("work", "Elm", "cutback", "--date", f"{year}-06-12", "--yes")
    after = rows_of(bench)["Elm", "budbreak"]
    assert abs(date.fromisoformat(after["p10"]) - date.fromisoformat(before["p10"])).days <= 14
    assert width(after) >= 14


def test_a_cut_that_a_guess_leaves_open_is_given_no_date_that_is_over(tmp_path: Path) -> None:
    """By the usual warmth alone the odds never were good enough; forecast, check and work say the same."""
    bench = new_garden(tmp_path / "g", latitude=-41.3, today="2026-11-29")
    bench.does("look", "Maple", "hard", "--date", "22 November")
    row = rows_of(bench)["Maple", "hardened"]
    assert row["operation"] == "cutback" and row["last_safe"] is None
    answer = bench.does("check", "Maple", "cutback").out
    assert answer.startswith("Maple: yes. By a guess from the catalogue")
