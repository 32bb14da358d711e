"""After a miss the next forecast says how far off the last one was, through the real command line."""

from __future__ import annotations

from pathlib import Path

from data_sources.kept_notes import ISSUED
from tests.reports.demo import FEW, flushcast, own_demo


def on(day: str, garden: Path, *command: str) -> str:
    done = flushcast(*command, "--garden", str(garden), today=day)
    assert done.returncode == 0, done.stderr
    return str(done.stdout)


def demo(folder: Path) -> Path:
    """A demo garden that does not stand still."""
    garden = own_demo(folder, trees=FEW)
    settings = garden / "garden.toml"
    settings.write_text("".join(x for x in settings.read_text().splitlines(True) if "stands_on" not in x))
    return garden


def test_a_beech_still_soft_long_after_its_range_is_told_the_next_day(tmp_path: Path) -> None:
    garden = demo(tmp_path)
    assert "Since" not in on("2026-06-14", garden, "forecast")
    assert (garden / ISSUED).is_file()
    assert "Since" not in on("2026-06-15", garden, "forecast")  # a day of jitter is no news
    on("2026-07-12", garden, "look", "beech", "extended")
    told = on("2026-07-12", garden, "forecast")
    line = " ".join(told[told.index("Since 15 Jun:") :].split())
    assert "Beech: not yet hard on 12 Jul" in line and "outside its range; now about" in line
    assert "instead of" not in line  # dates that merely moved are told when asked for


def test_asking_about_the_past_remembers_and_tells_nothing(tmp_path: Path) -> None:
    garden = demo(tmp_path)
    (garden / ISSUED).unlink(missing_ok=True)
    on("2026-06-14", garden, "forecast", "--as-of", "2026-06-01")
    assert not (garden / ISSUED).exists()
