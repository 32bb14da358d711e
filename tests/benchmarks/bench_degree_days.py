"""The degree-day kernel against copying its inputs, and against xclim's sum of daily means above the base.

    python -m tests.benchmarks.bench_degree_days

Ratios of processor time, the least of a few runs each, on a thousand cells of thirty years. Run by hand;
reports, never asserts.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import date

import numpy as np
import pandas as pd
import xarray as xr
from xclim import indices

from data_sources.demo.climate import synthetic_weather
from phenology.heat.clocks import CLOCKS, accumulate
from phenology.heat.thermal_time import degree_days

CELLS, RUNS, BASE = 1000, 5, 5.0


def least(work: Callable[[], object]) -> float:
    """The least processor time of a few runs. [s]"""
    taken = []
    for _ in range(RUNS):
        begun = time.process_time()
        work()
        taken.append(time.process_time() - begun)
    return min(taken)


def main() -> None:
    weather = synthetic_weather(date(1996, 1, 1), date(2025, 12, 31), 47.0, seed=1)
    offsets = np.linspace(-6, 6, CELLS)[:, None]
    low, high = weather.tmin + offsets, weather.tmax + offsets
    time_axis = pd.date_range(weather.first_day, periods=len(weather), name="time")
    mean = xr.DataArray((low + high) / 2, {"time": time_axis}, ("cell", "time"), attrs={"units": "degC"})

    def plain_sum() -> object:
        return indices.growing_degree_days(mean, thresh=f"{BASE} degC", freq="YS").to_numpy()

    def copied() -> object:
        return low.copy(), high.copy()

    copying, theirs = least(copied), least(plain_sum)
    print(f"{CELLS:,} cells x {len(weather):,} days; copying both inputs takes {1000 * copying:.0f} ms")
    for name, work in {
        "degree-days, sine day": lambda: degree_days(low, high, BASE),
        "degree-days, sine day, ceiling": lambda: degree_days(low, high, BASE, 30.0),
        "degree-days, mean day": lambda: degree_days(low, high, BASE, method="average_mean_clamped"),
    }.items():
        ours = least(work)
        print(f"{name:34} {ours / copying:6.1f} x copying, {ours / theirs:5.2f} x xclim's plain sum")
    small = slice(CELLS // 10)
    ours = 10 * least(lambda: accumulate(low[small], high[small]))
    name = f"all {len(CLOCKS)} clocks, summed"
    print(f"{name:34} {ours / copying:6.1f} x copying, {ours / theirs:5.2f} x xclim's plain sum")


if __name__ == "__main__":
    main()
