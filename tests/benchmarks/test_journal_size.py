"""A journal of 100,000 looks: adding one stays instant, importing, listing and export grow in line with it.

Run by hand: ``python -m pytest tests/benchmarks/test_journal_size.py -s``. The times are printed; what is
asserted is that four times the looks do not cost far more than four times as long.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from data_sources.journal import Journal
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


def test_a_hundred_thousand_looks(tmp_path: Path) -> None:
    small, large = (
        measure(tmp_path / "small" / "j.sqlite", 25_000),
        measure(tmp_path / "large" / "j.sqlite", 100_000),
    )
    size = (tmp_path / "large" / "j.sqlite").stat().st_size / 1e6
    print(f"\n{'seconds':>40}  25,000 looks  100,000 looks ({size:.0f} MB)")
    for task in small:
        print(f"{task:>40}  {small[task]:12.4f}  {large[task]:13.4f}")
    assert large["one more look"] < 0.1 and large["list one tree's looks"] < 0.1
    for task in ("import all", "list all looks", "the whole history"):
        assert large[task] < 12 * small[task] + 0.1
