"""Importing very many looks, and refusing very many rows: processor time, and bytes of journal a look.

    python -m tests.benchmarks.bench_import [LOOKS ...]

Looks at a thousand trees that the garden does not have yet (default 60,000 and 300,000), then 20,000 rows
that cannot be read, each as a process of its own. Wanted: 5 s for 60,000, in line with their number, and 600
bytes a look. Run by hand; reports, never asserts.
"""

from __future__ import annotations

import resource
import subprocess
import sys
from datetime import date, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

STAGES = ("dormant", "swelling", "budbreak", "extending", "extended", "hardened")
TREES, BAD = 1000, 20_000
NEW_GARDEN = ("--name", "Bench", "--lat", 48, "--lon", 8, "--tree", "Elm=Ulmus parvifolia")


def looks_file(path: Path, looks: int, stages: tuple[str, ...] = STAGES) -> Path:
    """A CSV of looks: every tree at every stage, season after season."""
    lines = ["date,tree,species,flush,stage"]
    for n in range(looks):
        tree, step = n % TREES, n // TREES
        day = date(2025 - step // len(stages), 3, 1) + timedelta(days=20 * (step % len(stages)) + tree % 7)
        lines.append(f"{day},Tree {tree},Fagus sylvatica,1,{stages[step % len(stages)]}")
    path.write_text("\n".join(lines))
    return path


def spent(*arguments: object) -> float:
    """Processor time of a flushcast command. [s]"""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    command = [sys.executable, "-m", "reports.cli.main", *map(str, arguments)]
    subprocess.run(command, capture_output=True, check=False)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main(sizes: list[int]) -> None:
    with TemporaryDirectory() as name:
        folder, first = Path(name), 0.0
        usual = spent("--version")
        for looks in sizes:
            garden = folder / str(looks)
            spent("init", garden, *NEW_GARDEN)
            file = looks_file(folder / f"{looks}.csv", looks)
            took = spent("--garden", garden, "import", file, "--new-trees") - usual
            bytes_each = (garden / "journal.sqlite").stat().st_size / looks
            first = first or took / looks
            ratio = took / looks / first
            print(
                f"{looks:>8,} looks: {took:6.1f} s of processor, {ratio:.2f} x the first a row; "
                f"{bytes_each:.0f} bytes of journal a look",
                flush=True,
            )
        file, garden = looks_file(folder / "bad.csv", BAD, ("sleepy",)), folder / "bad"
        spent("init", garden, *NEW_GARDEN)
        took = spent("--garden", garden, "import", file) - usual
        print(f"{BAD:>8,} rows that cannot be read: {took:.1f} s of processor")


if __name__ == "__main__":
    main([int(size) for size in sys.argv[1:]] or [60_000, 300_000])
