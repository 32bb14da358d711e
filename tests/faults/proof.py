"""The long runs behind docs/reliability.md: ``python -m tests.faults.proof kills 1000``, or ``inputs 10000``.

It prints how often what was tried and what did not survive; exit 1 where anything did not.
"""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import sys
import tempfile
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

from data_sources.garden import open_journal
from data_sources.garden_settings import read_settings
from data_sources.sqlite.connection import CHECKED, beside
from data_sources.weather.store.weather_store import WeatherStore
from phenology.model.errors import WeatherError
from tests.reports.bench import Bench, new_bench

ROOT = Path(__file__).resolve().parent.parent.parent
CALLS = {"pwrite64": 60, "write": 6, "unlink": 8, "rename": 3, "fdatasync": 9, "fsync": 4, "link": 2}
"""System calls that write, and about how often a command makes them."""
LOOKS = 'date,tree,stage,note\n2026-04-02,Elm 1,budbreak,\n2026-04-22,Elm 1,extending,"soft, at the top"\n'
WEATHER = "date,tmin,tmax\n" + "".join(f"2026-04-{n:02d},{n % 7},{12 + n % 9}\n" for n in range(1, 29))
GHCN = "USW00094728,20260401,TMIN,17,,,W\nUSW00094728,20260401,TMAX,117,,,W\n"


def prepared(folder: Path) -> Bench:
    """A small garden with a little of everything."""
    bench = new_bench(folder)
    files = folder.parent / "files"
    files.mkdir(parents=True, exist_ok=True)
    (files / "looks.csv").write_text(LOOKS)
    (files / "weather.csv").write_text(WEATHER)
    bench.does("look", "Hornbeam 1", "budbreak", "--date", "2026-04-01")
    bench.does("weather", "add", files / "weather.csv", "--units", "C")
    (files / "more.csv").write_text(WEATHER.replace("2026-04", "2026-05"))
    bench.does("export", files / "export")
    return bench


def writing_commands(files: Path) -> list[list[str]]:
    """One of every command that writes into a garden."""
    return [
        ["look", "Elm 1", "soft"],
        ["work", "Elm 1", "wiring"],
        ["tree", "add", "New 1", "Ulmus parvifolia"],
        ["tree", "edit", "Elm 1", "--pot", "round"],
        ["tree", "retire", "Hornbeam 2"],
        ["place", "add", "Roof"],
        ["place", "edit", "Bench", "--sun", "half"],
        ["settings", "odds", "0.8"],
        ["species", "Ulmus parvifolia", "--set", "leaves=5-9"],
        ["import", str(files / "looks.csv")],
        ["weather", "add", str(files / "more.csv"), "--units", "C"],
        ["weather", "undo"],
        ["undo"],
        ["backup"],
    ]


def state(bench: Bench) -> tuple[object, ...]:
    """What a garden says, without ids and times."""
    with open_journal(bench.folder) as journal:
        assert journal.check() is None
        labels = tuple(change.label for change in journal.history())
        entries = tuple(sorted((look.stage, str(look.latest)) for look in journal.looks()))
        trees = tuple((t.label, t.pot, str(t.retired)) for t in journal.trees())
        place = journal.places()[0].id
    weather: object = None
    try:
        with WeatherStore.open(bench.folder) as store:
            assert store.check() is None
            weather = tuple(store.read(place).tmin.tolist())
    except WeatherError:
        weather = ()
    return labels, entries, trees, str(read_settings(bench.folder)), weather


def killed_at(bench: Bench, command: list[str], call: str, n: int) -> bool:
    """Run a command and kill it before its n-th system call of a kind; False where it ended before."""
    done = subprocess.run(
        ["strace", "-f", "-qq", "-o", os.devnull, "-e", f"trace={call}",
         "-e", f"inject={call}:signal=KILL:when={n}", sys.executable, "-c",
         "from reports.cli.main import main; main()", "--garden", str(bench.folder), *command],
        env={**os.environ, "FLUSHCAST_TODAY": bench.today, "PYTHONDONTWRITEBYTECODE": "1"},
        cwd=ROOT, capture_output=True, check=False,
    )  # fmt: skip
    return done.returncode != 0


def kills(count: int, seed: int = 1) -> list[str]:
    """Kill real commands at random system calls that write, in both modes of the journal."""
    chance, failures, where = random.Random(seed), list[str](), Counter[str]()
    with tempfile.TemporaryDirectory() as scratch:
        gardens = [prepared(Path(scratch) / kind / "garden") for kind in ("plain", "Dropbox")]
        before = [state(bench) for bench in gardens]
        last: dict[tuple[str, str], int] = {}
        for turn in range(count):
            kind = turn % 2
            bench = gardens[kind]
            command = chance.choice(writing_commands(bench.folder.parent / "files"))
            call = chance.choices(list(CALLS), weights=[8, 2, 3, 2, 4, 2, 1])[0]
            key = (command[0], call)
            lowest = last.get(key, CALLS[call])
            n = chance.randint(1, max(1, lowest))
            copy = Bench(Path(scratch) / f"{turn}" / bench.folder.parent.name / "garden", bench.today)
            shutil.copytree(bench.folder, copy.folder)
            killed = killed_at(copy, command, call, n)
            if not killed:
                last[key] = max(1, n - 1)
            where["killed" if killed else "ended before"] += 1
            where[f"  {bench.folder.parent.name}"] += killed
            try:
                after = state(copy)
                if killed and after != before[kind]:
                    where["  whole already"] += 1
                    assert after[0] != before[kind][0] or after[3:] != before[kind][3:], "half a change"
                assert copy("look", "Hornbeam 1", "extending", "--date", "2026-05-02").code == 0
            except Exception as error:
                failures.append(f"{bench.folder.parent.name} {command} {call} {n}: {error!r}")
            shutil.rmtree(Path(scratch) / f"{turn}")
    print(dict(where))
    return failures


def mutated(chance: random.Random, seed: bytes) -> bytes:
    """A file as an editor, a sync, a phone or an enemy may leave it."""
    data = bytearray(seed)
    for _ in range(chance.choice((1, 1, 2, 4))):
        at = chance.randrange(len(data) + 1)
        end = min(len(data), at + chance.randint(0, 40))
        how = chance.randrange(8)
        if how == 0 and data:
            data[min(at, len(data) - 1)] ^= 1 << chance.randrange(8)
        elif how == 1:
            del data[at:end]
        elif how == 2:
            data[at:at] = data[at:end] * chance.choice((1, 2, 200))
        elif how == 3:
            data[at:at] = chance.choice(NASTY).encode("utf-8", "surrogatepass")
        elif how == 4:
            data[at:end] = chance.choice(NASTY).encode("utf-8", "surrogatepass")
        elif how == 5:
            data[at:end] = bytes(chance.randrange(256) for _ in range(end - at))
        elif how == 6:
            lines = bytes(data).split(b"\n")
            chance.shuffle(lines)
            data = bytearray(b"\n".join(lines))
        else:
            data = data[: chance.randrange(len(data) + 1)]
    return bytes(data)


NASTY = (
    *('"', "'", ",", ";", "\n", "\r", "\0", "=1+1", "9" * 5000, "\u00b2", "9999-W52", "?" * 3000, "[" * 3000),
    *(
        "{" * 3000,
        "nan",
        "inf",
        "1e400",
        "-0",
        "\ufeff",
        "\u202e",
        "\x1b[2J",
        "null",
        "true",
        "NaN",
        "..",
        "%s",
    ),
    *(
        "0001-01-01",
        "9999-12-31",
        "29 Feb",
        "Elm 1",
        "all but",
        "same",
        "\ud800",
        "\U0001f333",
        "--",
        "$\\def$",
    ),
)


def inputs(count: int, seed: int = 1) -> list[str]:
    """Mutated files and texts through every door, in this process; every answer is told, none a traceback."""
    chance, failures, codes = random.Random(seed), list[str](), Counter[str]()
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        bench = prepared(folder / "plain" / "garden")
        files = folder / "plain" / "files"
        whole = {path.name: path.read_bytes() for path in bench.folder.iterdir() if path.is_file()}
        backup = folder / "backup.sqlite"
        bench.does("backup", backup)
        seeds = {path.name: path.read_bytes() for path in (files / "export").iterdir()}
        doors = list(_doors(bench, folder, seeds, backup.read_bytes()))
        for turn in range(count):
            name, door = doors[turn % len(doors)]
            try:
                answer = door(chance)
                codes[f"{name}: exit {answer}"] += 1
                if answer not in (0, 1, 2):
                    failures.append(f"{name}: exit {answer}")
            except Exception:
                last = traceback.format_exc().strip().splitlines()
                failures.append(f"{name} (turn {turn}): {last[-1][:160]} {last[-3].strip()[:120]}")
            for path in bench.folder.iterdir():
                if path.is_file() and path.name not in whole:
                    path.unlink()
            for file, data in whole.items():
                if not file.endswith(("-wal", "-shm")):
                    (bench.folder / file).write_bytes(data)
            for file in ("journal.sqlite", "weather.sqlite"):
                beside(bench.folder / file, CHECKED).unlink(missing_ok=True)
    print(dict(sorted(codes.items())))
    return failures


def _doors(
    bench: Bench, folder: Path, seeds: dict[str, bytes], backup: bytes
) -> Iterator[tuple[str, Callable[[random.Random], int]]]:
    def file_door(name: str, seed: bytes, *command: str) -> tuple[str, Callable[[random.Random], int]]:
        def door(chance: random.Random) -> int:
            file = folder / name
            file.write_bytes(mutated(chance, seed))
            return bench(*(str(file) if word == "FILE" else word for word in command)).code

        return f"{command[0]} {name}", door

    def text_door(name: str, seed: str, *command: str) -> tuple[str, Callable[[random.Random], int]]:
        def door(chance: random.Random) -> int:
            text = mutated(chance, seed.encode()).decode("utf-8", "replace").replace("\0", "")
            return bench(*(text if word == "TEXT" else word for word in command)).code

        return name, door

    def own_door(name: str, *command: str) -> tuple[str, Callable[[random.Random], int]]:
        def door(chance: random.Random) -> int:
            path = bench.folder / name
            path.write_bytes(mutated(chance, path.read_bytes()))
            return bench(*command).code

        return f"own {name}", door

    def export_door(chance: random.Random) -> int:
        out = folder / "export"
        shutil.rmtree(out, ignore_errors=True)
        out.mkdir()
        for name, data in seeds.items():
            (out / name).write_bytes(data)
        name = chance.choice(list(seeds))
        (out / name).write_bytes(mutated(chance, seeds[name]))
        shutil.rmtree(folder / "again", ignore_errors=True)
        code = bench("init", folder / "again", "--from", out).code
        return max(code, bench("import", out).code)

    yield file_door("looks.csv", LOOKS.encode(), "import", "FILE")
    yield file_door("weather.csv", WEATHER.encode(), "weather", "add", "FILE", "--units", "C")
    yield file_door("station.csv", GHCN.encode(), "weather", "add", "FILE")
    yield file_door("backup.sqlite", backup, "restore", "FILE", "--yes")
    yield file_door(
        "walk.csv", b"date,tree,stage,checked,note\n2026-07-01,Elm 1,soft,,\n", "round", "--read", "FILE"
    )
    yield "export", export_door
    yield text_door("date", "about 4 July 2026", "look", "Elm 1", "soft", "--date", "TEXT")
    yield text_door("trees", "hornbeams 1-2 but 2", "look", "TEXT", "soft")
    yield text_door("stage", "soft", "look", "Elm 1", "TEXT")
    yield text_door("note", "a note", "look", "Elm 1", "soft", "--note", "TEXT")
    yield text_door("label", "Elm 9", "tree", "add", "TEXT", "Ulmus parvifolia")
    yield text_door("setting", "2026-08-01/2026-08-14", "settings", "away", "TEXT")
    yield text_door("species", "leaves=5-9", "species", "Ulmus parvifolia", "--set", "TEXT")
    yield own_door("garden.toml", "settings", "odds", "0.7")
    yield own_door("journal.sqlite", "tree", "list")
    yield own_door("weather.sqlite", "weather", "status")


def main() -> None:
    what, count = sys.argv[1], int(sys.argv[2])
    failures = {"kills": kills, "inputs": inputs}[what](count, *map(int, sys.argv[3:]))
    print(f"{what}: {count} tried on {date.today()}, {len(failures)} did not survive")
    for line in failures[:40]:
        print(f"  {line}")
    sys.exit(bool(failures))


if __name__ == "__main__":
    main()
