"""Random diaries, as odd as the commands let them be written: one tree's may cost that tree a date, never the
garden its forecast."""

from __future__ import annotations

import tempfile
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from phenology.model.operations import Operation
from phenology.model.stages import Part, Stage
from tests.reports.bench import Bench, new_bench

FIRST, TODAY = date(2025, 1, 1), date(2026, 12, 30)
WRITTEN = ("{d:%Y-%m-%d}", "about {d:%Y-%m-%d}", "{d:%B %Y}", "end of {d:%B %Y}", "spring {d:%Y}")
SAID = {
    "look": (
        ("--new-flush",),
        ("--mark", "lost"),
        ("--mark", "checked"),
        ("--kind", "happened"),
        ("--ended", "eaten"),
        ("--leaves", "5,6,7"),
    ),
    "work": (("--early",),),
}
VIEWS = (
    "forecast",
    "forecast --changes",
    "round",
    "windows",
    "plan all",
    "calendar --out {folder}/c.ics",
    "calibrate",
    "check all cutback",
    "report --out {folder}/r.html",
    "look --list",
    "tree list",
    "chart garden --out {folder}/c.svg",
    "export {folder}/out",
)


@st.composite
def entries(draw: st.DrawFn) -> tuple[str, ...]:
    """A look or work as it may be typed, flags and all."""
    command = draw(st.sampled_from(["look", "look", "work"]))
    name = draw(st.sampled_from(Stage if command == "look" else Operation))
    day = FIRST + timedelta(draw(st.integers(0, (TODAY - FIRST).days)))
    when = draw(st.sampled_from(WRITTEN)).format(d=day)
    tree = draw(st.sampled_from(["Hornbeam 1", "Elm 1", "all"]))
    said = draw(st.sampled_from([(), (), *SAID[command], *(("--part", part) for part in Part)]))
    return (command, tree, str(name), "--date", when, "--yes", *said)


def diary_written(folder: Path, diary: list[tuple[str, ...]], latitude: float) -> Bench:
    """A garden in which a diary was typed; what contradicts it was refused in one sentence."""
    bench = new_bench(folder, lat=str(latitude)).on(str(TODAY))
    for entry in diary:
        answer = bench(*entry)
        assert answer.code == 0 or answer.err.startswith("flushcast: "), (entry, answer)
    return bench


# the same diaries every time, and none made smaller: that takes minutes. Random ones: take derandomize out
@pytest.mark.slow
@given(st.lists(entries(), min_size=4, max_size=20), st.sampled_from([47.2, -37.5, 60.0, 1.0]), st.data())
@settings(
    max_examples=8, suppress_health_check=list(HealthCheck), derandomize=True,
    phases=[Phase.generate],
)  # fmt: skip
def test_every_view_serves_whatever_was_written_down(
    diary: list[tuple[str, ...]], latitude: float, data: st.DataObject
) -> None:
    with tempfile.TemporaryDirectory() as parent:
        folder = Path(parent) / "garden"
        bench = diary_written(folder, diary, latitude)
        today = FIRST + timedelta(data.draw(st.integers(400, (TODAY - FIRST).days)))
        for view in VIEWS:
            bench.on(str(today)).does(*view.format(folder=folder).split())


def test_buds_seen_closed_after_hard_leaves_and_called_a_new_flush_cost_no_forecast(tmp_path: Path) -> None:
    bench = new_bench(tmp_path / "garden").on("2026-06-20")
    bench.does("look", "all", "hardened", "--date", "2026-06-01")
    bench.does("look", "Elm 1", "dormant", "--date", "2026-06-18", "--new-flush")
    for view in ("forecast", "round", "windows", "calendar --out {folder}/c.ics"):
        bench.does(*view.format(folder=tmp_path).split())


def test_one_season_of_hardening_is_held_against_no_usual_date(tmp_path: Path) -> None:
    bench = new_bench(tmp_path / "garden").on("2026-12-20")
    for day, stage in (("2024-04-06", "extending"), ("2024-06-06", "extended"), ("2025-07-09", "hardened")):
        bench.does("look", "Hornbeam 1", stage, "--date", day)
    assert "usual date" not in bench.does("calibrate").out
    bench.does("report", "--out", tmp_path / "report.html")
