"""What commands write: whole or not at all, over nothing that is a garden's, and nothing left behind."""

from __future__ import annotations

import os
import stat
import sys
import time
from pathlib import Path

import pytest

from data_sources.disk.whole_files import part_of, sweep, write_output, write_whole
from data_sources.garden import open_journal
from phenology.model.errors import StoreError
from tests.reports.bench import Bench, new_bench

posix = pytest.mark.skipif(sys.platform == "win32", reason="modes and links of POSIX")


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    bench = new_bench(tmp_path / "garden")
    (tmp_path / "weather.csv").write_text("date,tmin,tmax\n2026-04-01,4,12\n2026-04-02,5,13\n")
    bench.does("weather", "add", tmp_path / "weather.csv", "--units", "C")
    bench.does("look", "Elm 1", "soft")
    bench.does("backup")
    return bench


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_no_output_goes_over_a_file_of_a_garden(bench: Bench) -> None:
    own = [path for path in bench.folder.rglob("*") if path.is_file()]
    assert {"journal.sqlite", "weather.sqlite", "garden.toml"} < {path.name for path in own}
    own = [p for p in own if not p.name.endswith(("-checked", "-wal", "-shm"))]
    before = {path: path.read_bytes() for path in own}
    link = bench.folder.parent / "calendar.ics"
    for path in own:
        assert "belongs to a garden" in bench.refuses("calendar", "--out", path)
        link.unlink(missing_ok=True)
        link.symlink_to(path)
        assert "belongs to a garden" in bench.refuses("calendar", "--out", link)
    assert {path: path.read_bytes() for path in own} == before


@posix
def test_a_file_written_again_keeps_its_mode_and_a_link_stays_a_link(tmp_path: Path) -> None:
    file, link = tmp_path / "page.html", tmp_path / "link.html"
    file.write_bytes(b"old")
    file.chmod(0o640)
    link.symlink_to(file)
    write_output(link, b"new")
    assert link.is_symlink() and file.read_bytes() == b"new" and mode(file) == 0o640
    fresh = tmp_path / "fresh.html"
    mask = os.umask(0o027)
    try:
        write_output(fresh, b"new")
    finally:
        os.umask(mask)
    assert mode(fresh) == 0o640


@posix
def test_only_plain_files_are_written_over(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "round").symlink_to(tmp_path / "round")
    for path in (tmp_path, tmp_path / "pipe", Path("/dev/null"), tmp_path / "round", tmp_path / "no" / "x"):
        with pytest.raises(StoreError):
            write_output(path, b"new")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["pipe", "round"]


def test_a_write_that_fails_leaves_the_old_file_and_nothing_beside_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "page.html"
    file.write_bytes(b"old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(StoreError, match="No space left"):
        write_output(file, b"new")
    assert file.read_bytes() == b"old" and list(tmp_path.iterdir()) == [file]


@posix
def test_what_a_killed_writer_left_is_swept_away_but_nobody_elses_work(tmp_path: Path) -> None:
    gone = 2**22 + 7  # above the largest process number
    left = [f".page.html.{gone}-1.part", f"..journal.sqlite.{gone}-1.part.{gone}-1.part-journal"]
    young, mine, other = f".x.{gone}-2.part", part_of(tmp_path / "y").name, ".hidden.part"
    for name in (*left, young, mine, other):
        (tmp_path / name).write_text("half")
        if name != young:
            os.utime(tmp_path / name, (time.time() - 3600,) * 2)
    sweep(tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted((young, mine, other))
    write_whole(tmp_path / "page.html", b"whole")
    assert (tmp_path / "page.html").read_bytes() == b"whole"


@posix
def test_a_garden_is_private_to_its_owner_unless_it_is_shared(tmp_path: Path) -> None:
    bench = new_bench(tmp_path / "garden")

    def everything() -> set[int]:
        (tmp_path / "w.csv").write_text("date,tmin,tmax\n2026-04-01,4,12\n")
        bench.does("weather", "add", tmp_path / "w.csv", "--units", "C")
        bench.does("settings", "odds", "0.8")
        bench.does("look", "Elm 1", "soft")
        bench.does("backup")
        with open_journal(bench.folder):
            files = [path for path in bench.folder.rglob("*") if path.is_file()]
            assert len(files) >= 5
            return {mode(path) for path in files}

    assert everything() == {0o600}
    assert mode(bench.folder) == 0o700 == mode(bench.folder / "backups")
    for path in bench.folder.rglob("*"):  # a couple that keeps one garden
        path.chmod(0o770 if path.is_dir() else 0o660)
    bench.folder.chmod(0o770)
    for name in ("weather.sqlite", "weather.sqlite-checked"):
        (bench.folder / name).unlink(missing_ok=True)
    bench.does("undo")
    assert everything() == {0o660}
    assert mode(bench.folder) == 0o770
