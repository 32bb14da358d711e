"""What forecasts take, in processor time of whole processes, beside the aims. Run by hand; asserts nothing.

python -m tests.benchmarks.bench_forecast [TREES [SEASONS]]

The demo's forecast beside `import pandas`, both from bytecode, as they are installed, and with numpy alone,
which the forecast cannot do without; a garden of many trees: the first forecast (which looks back on
past seasons), the next after one more look, the round and the page; a calibration of some 500 looks; the
leave-one-season-out hindcast of Harvard Forest, where its data are beside the checkout.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from tests.benchmarks.large_garden import store_large
from tests.conftest import SHARED
from tests.reports.demo import demo_folder

FLUSHCAST = [sys.executable, "-m", "reports.cli.main"]
BYTECODE = tempfile.TemporaryDirectory()
FOREST = SHARED / "data" / "harvard_forest"


def processor(*command: object) -> tuple[float, float, float]:
    """Processor seconds, processor over wall seconds, and peak memory in MB of one process.

    Its modules are compiled before, as those of what is installed are.
    """
    wall = time.perf_counter()
    compiled = {"PYTHONPYCACHEPREFIX": BYTECODE.name, "PYTHONDONTWRITEBYTECODE": ""}
    child = subprocess.Popen(
        [*map(str, command)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env=dict(os.environ) | compiled,
    )
    _, status, used = os.wait4(child.pid, 0)
    if status:
        raise SystemExit(f"failed: {' '.join(map(str, command))}")
    seconds = used.ru_utime + used.ru_stime
    return seconds, seconds / (time.perf_counter() - wall), used.ru_maxrss / 1024


def measured(what: str, aim: str, *command: object) -> float:
    seconds, share, memory = processor(*command)
    print(f"{what:<46} {seconds:7.2f} s  {share:4.2f} of wall  {memory:5.0f} MB  {aim}", flush=True)
    return seconds


def demo(pairs: int = 7) -> float:
    """The demo's forecast over `import pandas`, pair by pair; returns what the first takes."""
    forecast = [*FLUSHCAST, "forecast", "--garden", str(demo_folder())]
    commands = [forecast, *([sys.executable, "-c", f"import {name}"] for name in ("pandas", "numpy"))]
    for command in commands:
        processor(*command)  # compile, and warm the disk
    taken = [[processor(*command)[0] for command in commands] for _ in range(pairs)]
    ours, pandas, numpy = (statistics.median(column) for column in zip(*taken, strict=True))
    ratio = statistics.median(a / b for a, b, _ in taken)
    print(f"demo forecast {ours:.2f} s, import pandas {pandas:.2f} s: ratio {ratio:.2f} (aim 1.3)")
    print(f"import numpy alone {numpy:.2f} s")
    return ours


def made(folder: Path, trees: int, seasons: int) -> tuple[str, int]:
    """Make a garden; the label of the tree looked at last, and the number of looks."""
    garden = store_large(folder, trees, seasons)
    last = max(garden.looks.values(), key=lambda look: look.latest)
    return next(tree.label for tree in garden.trees if tree.id == last.tree_id), len(garden.looks)


def made_apart(folder: Path, trees: int, seasons: int) -> tuple[str, int]:
    """The same in a process of its own, whose memory is not counted with what is measured."""
    with ProcessPoolExecutor(1) as pool:
        return pool.submit(made, folder, trees, seasons).result()


def many_trees(trees: int, seasons: int, begun: float) -> None:
    """A garden of many trees; `begun` is what the demo's forecast takes."""
    with tempfile.TemporaryDirectory() as where:
        garden = Path(where) / "garden"
        label, looks = made_apart(garden, trees, seasons)
        print(f"\n{trees} trees, {seasons} seasons, {looks} looks:")
        aim = {1000: "aim 3 s", 10_000: "aim 60 s, 1 GB"}.get(trees, "")
        on = ["--garden", garden]
        measured("first forecast, past seasons forecast again", "", *FLUSHCAST, "forecast", *on)
        measured("one more look", "", *FLUSHCAST, "look", label, "extended", *on)
        after = measured("forecast after one look", aim, *FLUSHCAST, "forecast", *on)
        print(f"  {1000 * (after - begun) / trees:.2f} ms a tree beyond the demo's forecast (aim 5, goal 2)")
        aim = "aim 10 s" if trees == 1000 else ""
        measured("round", aim, *FLUSHCAST, "round", *on)
        measured("report", aim, *FLUSHCAST, "report", *on, "--out", Path(where) / "page.html")


def learning() -> None:
    """A calibration, and the hindcasts of Harvard Forest."""
    with tempfile.TemporaryDirectory() as where:
        small = Path(where) / "small"
        print(f"\n{made_apart(small, 5, 5)[1]} looks of five trees:")
        on = ["--garden", small]
        measured("calibrate, past seasons forecast again", "", *FLUSHCAST, "calibrate", *on)
        measured("calibrate", "aim 1 s", *FLUSHCAST, "calibrate", *on)
        if FOREST.is_dir():
            print("\nHarvard Forest, 277 tree-seasons:")
            command = ["hindcast", "--weather", FOREST / "weather_daily.csv", "--looks", FOREST / "looks.csv"]
            command += ["--given", "budbreak", "--target", "extended", "--leave-one-season-out"]
            command += ["--out", Path(where) / "forest.csv"]
            measured(
                "leave one season out, weather known", "aim 5 s", *FLUSHCAST, *command, "--known-weather"
            )
            measured("leave one season out, as issued", "aim 5 s", *FLUSHCAST, *command)


def main(trees: int = 1000, seasons: int = 5) -> None:
    many_trees(trees, seasons, demo())
    learning()


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
