"""How long a forecast takes, as whole processes, beside `import pandas`. Run by hand; reports, never asserts.

python -m tests.benchmarks.bench_forecast [PAIRS]
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

from tests.reports.demo import demo_folder


def seconds(command: list[str]) -> float:
    start = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    return time.perf_counter() - start


def main(pairs: int = 7) -> None:
    forecast = [sys.executable, "-m", "reports.cli.main", "forecast", "--garden", str(demo_folder())]
    pandas = [sys.executable, "-c", "import pandas"]
    for command in (forecast, pandas):
        seconds(command)  # warm the disk
    taken = [(seconds(forecast), seconds(pandas)) for _ in range(pairs)]
    ours, theirs = (statistics.median(column) for column in zip(*taken, strict=True))
    ratio = statistics.median(a / b for a, b in taken)
    print(f"flushcast forecast, demo garden, refit included: {ours:.2f} s (median of {pairs})")
    print(f"python -c 'import pandas':                       {theirs:.2f} s")
    print(f"ratio, pair by pair: {ratio:.2f} (at most 2.0 is wanted)")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 7)
