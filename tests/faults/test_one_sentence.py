"""Whatever comes in by any door: one sentence, exit 1 or 2, the garden as it was, and no traceback."""

from __future__ import annotations

import gzip
import json
import os
import subprocess
import sys
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from data_sources.kept_notes import PAST, keep_forecasts, read_forecasts
from data_sources.tables import text_table
from phenology.model.errors import InputError, UnknownNameError
from phenology.model.track_record import PastForecast
from reports.cli import unexpected
from reports.views.calendar_file import events_before
from tests.reports.bench import Bench, new_bench
from tests.reports.demo import FEW, own_demo

ROOT = Path(__file__).resolve().parent.parent.parent
DIGITS = "9" * 4400


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return new_bench(tmp_path / "garden")


def test_a_name_like_none_says_what_shows_the_names() -> None:
    assert "flushcast tree list" in unexpected.in_one_sentence(UnknownNameError("tree", "oak"))
    assert "Latin name" in unexpected.in_one_sentence(UnknownNameError("species", "larch"))
    assert unexpected.in_one_sentence(UnknownNameError("tree", "Ulm", ["Elm"])).endswith("mean Elm?")


DATES = [
    "9999-W52",
    "9999-W53",
    "?" * 3000,
    "about " * 900,
    "by 9999-12-31 ?",
    DIGITS,
    "\u00b2",
    "(" * 2000,
    "0001-01-01?",
]


@pytest.mark.parametrize("text", DATES, ids=lambda text: text[:12])
def test_a_date_that_is_none_is_said_so(bench: Bench, tmp_path: Path, text: str) -> None:
    assert bench("look", "Elm 1", "soft", "--date", text).code == 1
    assert bench("forecast", "--as-of", text).code == 1
    file = tmp_path / "looks.csv"
    file.write_text(f'date,tree,stage\n"{text}",Elm 1,soft\n')
    assert "looks.csv, line 2, column date" in " ".join(bench.refuses("import", file).split())


def test_numbers_of_thousands_of_digits_and_digits_that_are_no_numbers(bench: Bench, tmp_path: Path) -> None:
    bench.does("tree", "add", f"Elm {DIGITS}", "Ulmus parvifolia")  # an odd label, but a label
    bench.does("look", "Elm 1", "soft")
    bench.does("tree", "list")
    for number in (DIGITS, "\u00b2", "\u00b2-\u00b3", "1e400", "nan"):
        if not number.startswith("\u00b2"):  # which is a 2 that looks otherwise
            assert bench("look", f"elms 1-{number}", "soft").code == 1
        assert bench("look", "Elm 1", "soft", "--leaves", number).code == 1
        assert bench("species", "Ulmus parvifolia", "--set", f"leaves={number}").code == 1
        assert bench("settings", "hot-day", number).code == 1
        assert bench("compare", number).code in (1, 2)
        file = tmp_path / "flush.csv"
        file.write_text(f"date,tree,stage,flush\n2026-04-02,Elm 1,soft,{number}\n")
        assert "line 2, column flush" in " ".join(bench.refuses("import", file).split())
        assert bench("hindcast", file, file, "--train", number, "--test", "2020").code in (1, 2)


@pytest.mark.parametrize("text", [",,,\n", ",,,\n,,,\n", ",,,\n1,2,3\n", ";", "\t\t\n"])
def test_a_table_of_separators_is_no_table(bench: Bench, tmp_path: Path, text: str) -> None:
    (tmp_path / "x.csv").write_text(text)
    bench.refuses("import", tmp_path / "x.csv")
    bench.refuses("weather", "add", tmp_path / "x.csv")


def test_a_gzip_bomb_is_not_unpacked(bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(text_table, "LARGEST", 1 << 20)
    (tmp_path / "bomb.csv.gz").write_bytes(gzip.compress(b"0," * (1 << 22)))
    assert "holds more than 1 megabytes" in bench.refuses("import", tmp_path / "bomb.csv.gz")
    assert "holds more than 1 megabytes" in bench.refuses("weather", "add", tmp_path / "bomb.csv.gz")


def test_a_station_value_of_400_digits_is_refused(bench: Bench, tmp_path: Path) -> None:
    (tmp_path / "x.csv").write_text(f"USW00094728,20260401,TMIN,{'9' * 400},,,W\n")
    assert "line 1" in bench.refuses("weather", "add", tmp_path / "x.csv")


def test_clock_and_folder_that_are_none(bench: Bench) -> None:
    assert "FLUSHCAST_TODAY must be a date" in bench.on("x").refuses("look", "Elm 1", "soft")
    assert "there is no home folder of '~nouser'" in bench.refuses("--garden", "~nouser/x", "tree", "list")


TOML = ["x = " + "[" * 5000 + "]" * 5000, "x = " + "{a=" * 2000 + "1" + "}" * 2000, f"odds = {DIGITS}",
        "[" + "a." * 3000 + "b]", "odds = 1e9999"]  # fmt: skip


@pytest.mark.parametrize("line", TOML, ids=lambda line: line[:9])
def test_settings_nested_deeply_or_of_many_digits(bench: Bench, line: str) -> None:
    path = bench.folder / "garden.toml"
    path.write_text(f"{path.read_text()}\n{line}\n")
    before = path.read_bytes()
    assert "garden.toml" in bench.refuses("tree", "list")
    assert "garden.toml" in bench.refuses("settings", "odds", "0.8")
    assert path.read_bytes() == before


PAST_ONE = PastForecast(
    "U", "t", 2025, 1, "hardened", 10, False, False, 1.0, 2.0, 3.0, 4.0, 5.0, 0.1, 2.0, 3.0, 0.5
)


@pytest.mark.parametrize(
    "bad", ["[" * 200_000, '{"sets": ' + "[" * 100_000, "null", '{"sets": null}', DIGITS]
)
def test_a_cache_that_holds_none_of_ours_is_made_anew(tmp_path: Path, bad: str) -> None:
    (tmp_path / PAST).write_text(bad)
    assert read_forecasts(tmp_path, "a") is None
    keep_forecasts(tmp_path, "a", [PAST_ONE])
    assert read_forecasts(tmp_path, "a") == [PAST_ONE]
    kept = json.loads((tmp_path / PAST).read_text())
    for value in (None, "x", [], float("inf")):
        kept["sets"]["a"][0][8] = value
        (tmp_path / PAST).write_text(json.dumps(kept))
        assert read_forecasts(tmp_path, "a") is None


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    folder = own_demo(tmp_path_factory.mktemp("demo"), trees=FEW)
    return Bench(folder)


def test_an_old_calendar_with_odd_lines_is_brought_up_to_date(demo: Bench, tmp_path: Path) -> None:
    file = tmp_path / "c.ics"
    demo.does("calendar", "--out", file)
    *events, end = file.read_bytes().split(b"BEGIN:VEVENT")
    good = b"BEGIN:VEVENT".join(events[:4]) + b"END:VCALENDAR\r\n"  # a few are read as all of them are
    assert end.endswith(b"END:VCALENDAR\r\n") and len(events_before(good)) == 3
    for old, new in (
        (b"SEQUENCE:0", b"SEQUENCE:x"),
        (b"SEQUENCE:0", b"SEQUENCE:" + b"9" * 5000),
        (b"SEQUENCE:0\r\n", b"SEQUENCE:0\r\nSEQUENCE:1\r\n"),
        (b"DTEND;VALUE=DATE:2026", b"DTEND;VALUE=DATE:x"),
        (b"DTEND;VALUE=DATE:", b"DTEND:"),
        (b"UID:", b"XUID:"),
        (b"DTSTAMP:2", b"DTSTAMP:x"),
        (b"STATUS:", b"XSTATUS:"),
    ):
        assert old in good
        kept: dict[str, Any] = {}
        with suppress(InputError):  # no calendar at all
            kept = events_before(good.replace(old, new))
        for event in kept.values():  # what is odd is written anew
            assert type(event["DTEND"].dt) is date and int(event.get("SEQUENCE", 0)) >= 0
    good = file.read_bytes()
    file.write_bytes(good.replace(b"SEQUENCE:0", b"SEQUENCE:x"))
    demo.does("calendar", "--out", file)
    assert file.read_bytes().count(b"BEGIN:VEVENT") == good.count(b"BEGIN:VEVENT")


@pytest.mark.skipif(sys.platform != "linux", reason="names of files may be any bytes")
def test_a_file_whose_name_is_no_text(bench: Bench, tmp_path: Path) -> None:
    file = tmp_path / os.fsdecode(b"lo\xffoks.csv")
    file.write_text("date,tree,stage\n2026-04-02,Elm 1,budbreak\n")
    assert r"lo\udcffoks.csv" in bench.does("import", file).err
    assert r"lo\udcffoks.csv" in bench.does("history").out
    file.write_text("date,tmin,tmax\n2026-04-02,1,2\n")
    bench.does("weather", "add", file, "--units", "C")
    assert bench("look", "Elm 1", "soft", "--note", os.fsdecode(b"\xff")).code == 1


def run(bench: Bench, *args: str, code: str = "", **more: object) -> subprocess.CompletedProcess[str]:
    """A real run of the program in a process of its own."""
    environment = {**os.environ, "FLUSHCAST_TODAY": bench.today, "FLUSHCAST_GARDEN": str(bench.folder)}
    environment |= more.pop("env", {})  # type: ignore[arg-type]
    given = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **more}
    return subprocess.run(
        [sys.executable, "-c", f"{code}\nfrom reports.cli.main import main\nmain()", *args],
        cwd=ROOT, env=environment, check=False, text=True, **given,  # type: ignore[call-overload]
    )  # fmt: skip


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is full")
def test_output_to_a_full_device_is_one_sentence(bench: Bench) -> None:
    with open("/dev/full", "w") as full:
        done = run(bench, "tree", "list", stdout=full)
    assert done.returncode == 1
    assert done.stderr == "flushcast: No space left on device. A change that was told is saved.\n"


BROKEN = """
import reports.cli.setup.tree_command as broken
def listing(garden, trees, *, retired):
    secret = garden.trees[0].label + ' on 12 Garden Lane'
    raise KeyError(secret)
broken.listing = listing
"""


def test_what_nobody_foresaw_is_one_sentence_and_a_report_without_private_data(
    bench: Bench, tmp_path: Path
) -> None:
    before = (bench.folder / "journal.sqlite").read_bytes()
    done = run(bench, "tree", "list", code=BROKEN, env={"TMPDIR": str(tmp_path)})
    (report,) = tmp_path.glob("flushcast-report-*.txt")
    assert done.returncode == 1 and done.stdout == ""
    assert done.stderr == (
        "flushcast: something unexpected went wrong (KeyError); the garden is as it was. "
        f"A report without private data is in {report}.\n"
    )
    text = report.read_text()
    assert "builtins.KeyError" in text and "reports/cli/setup/tree_command.py:" in text
    for private in ("Elm", "Garden Lane", str(tmp_path), str(bench.folder), os.path.expanduser("~")):
        assert private not in text
    assert (bench.folder / "journal.sqlite").read_bytes() == before


def test_a_report_follows_the_causes_of_an_error() -> None:
    try:
        try:
            int("secret")
        except ValueError as error:
            raise KeyError("secret") from error
    except KeyError as error:
        report = unexpected.report_of(error)
    assert "builtins.KeyError\nbuiltins.ValueError" in report and "secret" not in report


def test_an_encoding_that_cannot_show_a_label_replaces_it(bench: Bench) -> None:
    bench.does("tree", "add", "\u68a8 1", "Ulmus parvifolia")
    done = run(bench, "tree", "list", env={"PYTHONIOENCODING": "latin-1", "PYTHONUTF8": "0"})
    assert done.returncode == 0 and "? 1" in done.stdout
