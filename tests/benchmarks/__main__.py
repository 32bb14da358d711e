"""Every aim of speed in one run of some minutes, as ratios or processor time. Reports, never asserts.

python -m tests.benchmarks
"""

from __future__ import annotations

from tests.benchmarks import bench_forecast


def main() -> None:
    begun = bench_forecast.demo()
    for trees in (1000, 10_000):
        bench_forecast.many_trees(trees, 5, begun)
    bench_forecast.learning()
    # what these load would count as memory of the processes that are measured before
    from tests.benchmarks import bench_degree_days, bench_import, bench_weather

    print("\nThe degree-day kernel:")
    bench_degree_days.main()
    print("\nWeather:")
    bench_weather.main()
    print("\nImport:")
    bench_import.main([60_000, 300_000])


if __name__ == "__main__":
    main()
