"""What pages of `flushcast serve` take beside an empty one, in processor time. Run by hand; asserts nothing.

python -m tests.benchmarks.bench_serve [TREES [REQUESTS]]

The page after saving a look and what moved (aims: three times the empty page for 12 trees, 1.5 s for 200);
500 requests (aim at 1,000 trees: the 95th percentile within ten times the empty page); memory over so many.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from reports.web.keeper import Keeper
from tests.reports.web.many import many_trees
from tests.reports.web.site import Phone

TREE = "Maple 1"


def taken(phone: Phone, path: str) -> float:
    """Processor seconds of one page."""
    began = time.process_time()
    assert phone.get(path).status_code == 200, path
    return time.process_time() - began


def megabytes() -> float:
    """What this process holds now; where the system does not say, none."""
    found = Path("/proc/self/statm")
    return int(found.read_text().split()[1]) * 4096 / 2**20 if found.exists() else 0.0


def after_a_look(phone: Phone, tree: str, empty: float) -> None:
    """The page after saving, with what it takes to say what moved."""
    for stage in ("extended", "hardened"):  # the first one reads the templates
        form: dict[str, Any] = phone.form(f"/look?tree={tree}") | {"stage": stage}
        saved = phone.post("/look", form).headers["location"]
        page, moved = taken(phone, saved), taken(phone, f"{saved}/moved")
        others = taken(phone, f"{saved}/moved?others=1")
    ratio = page / empty
    print(f"after a look: {ratio:.1f} empty pages; moved {moved:.2f} s, the other trees {others:.2f} s")


def main(trees: int = 200, requests: int = 500) -> None:
    """Measure a garden of so many trees, with so many requests."""
    Keeper.warm = lambda *_: None  # type: ignore[assignment, method-assign]
    with tempfile.TemporaryDirectory() as room:
        phone = Phone(many_trees(Path(room) / "garden", trees))
        tree = phone.tree(TREE)
        print(f"{trees} trees: the first page of the day {taken(phone, '/'):.2f} s")
        taken(phone, "/more")
        empty = statistics.median(taken(phone, "/more") for _ in range(50))
        after_a_look(phone, tree, empty)
        paths = ["/", "/trees", "/look", f"/look?tree={tree}", f"/work?tree={tree}", "/round", "/settings"]
        paths += [f"/trees/{tree}", "/weather", "/api/agenda"]
        for path in paths:
            taken(phone, path)
        before = megabytes()
        times = sorted(taken(phone, paths[n % len(paths)]) for n in range(requests))
        p95 = times[int(0.95 * len(times))]
        print(f"{requests} requests: 95th percentile {p95 / empty:.1f} empty pages of {empty * 1000:.1f} ms")
        print(f"memory before and after them: {before:.0f} and {megabytes():.0f} MB")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
