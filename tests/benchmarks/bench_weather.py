"""How long weather takes: thirty years of four stations from files to a ready frame, and reading the store.

    python -m tests.benchmarks.bench_weather

The services stand on this computer. The goal is under half a second of CPU for kept files.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from data_sources.weather.services.protocol.service import FetchSpan, Spot
from data_sources.weather.services.registry import make_services
from data_sources.weather.services.stations.meteostat import Meteostat
from data_sources.weather.services.transport.http import Http
from data_sources.weather.store.weather_store import WeatherStore
from data_sources.weather.update import update_weather
from tests.data_sources.stand_in import StandIn

TODAY = date(2026, 6, 14)
HERE = Spot(50.11, 8.62, 118.0, "Europe/Berlin")
SPAN = FetchSpan(date(1996, 1, 1), TODAY - timedelta(days=1))


@contextmanager
def timed(what: str) -> Iterator[None]:
    cpu, wall = time.process_time(), time.perf_counter()
    yield
    print(f"{what:66} {time.process_time() - cpu:6.2f} s CPU {time.perf_counter() - wall:6.2f} s")


def main() -> None:
    server = StandIn(TODAY)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        order = ("meteostat", "open-meteo-forecast", "open-meteo-archive")
        made = server.settings(cache_folder=folder / "cache", sources=order)
        first = "first fetch and reading, 31 years x 4 stations (server included)"
        with Http(made) as http, timed(first):
            Meteostat(made, http).fetch(HERE, SPAN, TODAY)
        with Http(made) as http:
            with timed("kept files to frame"):
                answer = Meteostat(made, http).fetch(HERE, SPAN, TODAY)
                assert answer.days is not None
                frame = answer.days.to_frame()
            print(f"  {len(frame):,} days, {frame['tmin'].notna().sum():,} known")
            now = datetime(2026, 6, 14, 10, tzinfo=UTC)
            services = make_services(made, http)
            with WeatherStore.open(folder, create=True) as store:
                with timed("an update of an empty garden from kept files"):
                    update_weather(store, "bench", HERE, services, now=now)
                with timed("reading the store, as a forecast does"):
                    store.read("bench")
    server.stop()


if __name__ == "__main__":
    sys.exit(main())
