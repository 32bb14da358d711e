"""Maps of a region on a local dask cluster of two workers with 1 GB each. Run by hand; asserts nothing.

    python -m tests.benchmarks.bench_region [SIDE ...]

Grids of SIDE x SIDE cells with 30 years of days each (default 16 and 32), then one of 2.2 GB, more than
the cluster's memory, of which every seventh cell each way has weather. Printed is processor time of workers
a cell with weather, how that compares with the first grid (1 is linear), and the most memory a worker held.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from data_sources.demo.climate import store_region
from data_sources.gridded.reading import open_grid
from data_sources.gridded.writing import read_maps, write_maps
from phenology.region.cells import CellForecasts
from phenology.region.maps import region_maps
from phenology.species.catalogue import load_species

WORKERS, MEMORY = 2, "1GB"
LARGE = (112, 7)


def used() -> tuple[float, float]:
    """Processor time of a worker so far [s], and the most memory it has held [MB]."""
    import resource

    usage = resource.getrusage(resource.RUSAGE_SELF)
    return usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1e3


def measure(folder: Path, side: int, client: Any, every: int = 1) -> tuple[float, float]:
    """Make a region and its maps: processor time a cell of all workers [s], memory a worker held [MB]."""
    source, maps = folder / f"{side}.zarr", folder / f"{side}-maps.zarr"
    store_region(source, side, side, dtype="float64", every=every)
    weather = open_grid([source], block_bytes=16e6)
    size = sum(file.stat().st_size for file in source.rglob("*") if file.is_file()) / 1e9
    sizes = f"{weather.nbytes / 1e9:.2f} GB ({size:.2f} stored)"
    print(f"{side**2:>7,} cells, {sizes}: ", end="", flush=True)
    forecasts = CellForecasts(load_species()["Acer buergerianum"], weather.indexes["time"][-1].date())
    before = sum(spent for spent, _ in client.run(used).values())
    begun = time.perf_counter()
    write_maps(region_maps(weather, forecasts), maps)
    print(f"{time.perf_counter() - begun:,.0f} s on the clock, ", end="")
    after = client.run(used).values()
    known = int(read_maps(maps)["days_unknown"].notnull().sum())
    return (sum(spent for spent, _ in after) - before) / known, max(held for _, held in after)


def main(sides: list[int]) -> None:
    from distributed import Client, LocalCluster

    with (
        TemporaryDirectory() as name,
        LocalCluster(
            n_workers=WORKERS, threads_per_worker=1, memory_limit=MEMORY, dashboard_address=":0"
        ) as cluster,
        Client(cluster) as client,
    ):
        measure(Path(name), 4, client)  # every worker has loaded its packages
        print("to warm up")
        first = None
        for side, every in (*((side, 1) for side in sides), LARGE):
            each, held = measure(Path(name), side, client, every)
            first = first or each
            print(
                f"{1000 * each:.1f} ms of processor a cell, {each / first:.2f} x the first; "
                f"a worker held at most {held:,.0f} MB",
                flush=True,
            )


if __name__ == "__main__":
    main([int(side) for side in sys.argv[1:]] or [16, 32])
