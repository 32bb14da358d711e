"""A journal of 100,000 looks: adding one stays instant, importing, listing and export grow in line with it.

Run by hand: ``python -m tests.benchmarks.bench_journal_size``. Printed is how much longer each task takes
with four times the looks; nothing is asserted.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from data_sources.journal.store import Journal
from phenology.model.records import Flush, Look, Tree
from tests.data_sources.journal_help import a_look

TREES, SEASONS = 100, 20


def timed(work: Callable[[], Any]) -> float:
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun


def measure(path: Path, n: int) -> dict[str, float]:
    """Seconds that each everyday task takes in a journal of `n` looks."""
    trees = [Tree(f"t{i}", f"Tree {i}", "Ulmus parvifolia") for i in range(TREES)]
    flushes = [Flush(f"f{t.id}.{s}", t.id, 2000 + s, "season") for t in trees for s in range(SEASONS)]
    looks = []
    for i in range(n):
        flush = flushes[i % len(flushes)]
        day = date(flush.season, 4, 1) + timedelta(days=i % 150)
        looks.append(replace(a_look(f"k{i}", day), tree_id=flush.tree_id, flush_id=flush.id))

    def take_in() -> None:
        with journal.batch("imported") as batch:
            for record in (*trees, *flushes, *looks):
                batch.insert(record)

    def add_one(id: str) -> None:
        with journal.batch("looked") as batch:
            batch.insert(replace(looks[0], id=id))

    def ten_more() -> None:
        for i in range(10):
            add_one(f"more{i}")

    took = {}
    with Journal.open(path, create=True) as journal:
        took["import all"] = timed(take_in)
    took["open, every cell checked"] = timed(lambda: Journal.open(path).close())
    took["open again that day"] = timed(lambda: Journal.open(path).close())
    with Journal.open(path) as journal:
        took["first look of a day (with its backup)"] = timed(lambda: add_one("first"))
        took["one more look"] = timed(ten_more) / 10
        took["list all looks"] = timed(journal.looks)
        took["list one tree's looks"] = timed(lambda: journal.looks("t7"))
        took["history, last ten"] = timed(lambda: journal.history(limit=10))
        took["the whole history"] = timed(lambda: list(journal.export_changes()))
        took["undo one look"] = timed(journal.undo)
        took["check every cell"] = timed(journal.check)
        took["look at one by id"] = timed(lambda: journal.get(Look, "k5"))
    return took


def main() -> None:
    """Measure a journal and one four times as large."""
    with TemporaryDirectory() as folder:
        small, large = (measure(Path(folder) / str(n) / "j.sqlite", n) for n in (25_000, 100_000))
        size = (Path(folder) / "100000" / "j.sqlite").stat().st_size / 1e6
    print(f"{'100,000 looks (' + format(size, '.0f') + ' MB) over 25,000':>50}")
    for task in small:
        print(f"{task:>40}  {large[task] / small[task]:8.2f}")


if __name__ == "__main__":
    main()
