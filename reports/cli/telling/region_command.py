"""`flushcast region`: maps of a species over a gridded climate set."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from reports.cli.common import open_garden_option, put, say
from reports.garden.open_garden import OpenGarden

if TYPE_CHECKING:
    import xarray as xr

    from phenology.region.cells import CellForecasts

MISSING = "maps of a region need xarray and dask: pip install 'flushcast[region]'"
CONNECT = 10  # seconds to find a cluster


@click.command("region")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="SET...")
@click.option("--species", required=True, metavar="NAME", help="The species mapped.")
@click.option("--out", required=True, type=click.Path(path_type=Path), metavar="MAPS",
              help="Where to write: a file ending in .nc (NetCDF) or a folder ending in .zarr.")  # fmt: skip
@click.option("--calibration", type=click.Choice(["garden", "catalogue"]),
              help="Whose requirements: learned from the garden's looks, or the catalogue's alone; default: "
              "the garden's where there is one.")  # fmt: skip
@click.option("--as-of", metavar="DATE", help="The day of the forecast; default: the last of the set.")
@click.option("--cut", metavar="DATE",
              help="When the second flush is woken; default: when the first is hard.")  # fmt: skip
@click.option("--picture", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE",
              help="The maps as a picture as well, ending in .svg or .png.")  # fmt: skip
@click.option("--tmin", metavar="VARIABLE", help="The variable of the daily minimum, where nothing tells.")
@click.option("--tmax", metavar="VARIABLE", help="The variable of the daily maximum.")
@click.option("--units", type=click.Choice(["C", "K", "F"]), help="Unit of a set that says none.")
@click.option("--workers", type=click.IntRange(1), help="Share the work out to so many processes.")
@click.option("--memory", default="1GB", metavar="SIZE", help="Memory of each worker; default: 1GB.")
@click.option("--scheduler", metavar="ADDRESS", help="Use a dask cluster, such as tcp://10.0.0.5:8786.")
@click.option("--block", default="64MB", metavar="SIZE",
              help="Weather that is worked on at once by a worker; default: 64MB.")  # fmt: skip
@open_garden_option
def region_command(
    garden: OpenGarden,
    files: tuple[Path, ...],
    species: str,
    out: Path,
    calibration: str | None,
    as_of: str | None,
    cut: str | None,
    picture: Path | None,
    tmin: str | None,
    tmax: str | None,
    units: str | None,
    workers: int | None,
    memory: str,
    scheduler: str | None,
    block: str,
) -> None:
    """Maps of bud break, hardening, the last safe day and the odds that a second flush ripens.

    SET is daily minimum and maximum temperature on a grid: NetCDF files or Zarr folders, larger than memory
    if need be. Each cell gets the forecast that a garden there would get for a tree nobody has looked at.
    """
    from phenology.model.errors import InputError

    try:
        import dask
        import xarray  # noqa: F401
    except ImportError:
        raise InputError(MISSING) from None
    if workers and scheduler:
        raise click.UsageError("choose one of --workers and --scheduler")
    from data_sources.gridded.reading import open_grid
    from data_sources.gridded.writing import check_ending, read_maps, write_maps
    from phenology.region.maps import region_maps
    from reports.charts.ink import FORMATS, save_chart
    from reports.charts.region_map import region_lines

    check_ending(out)
    if out.resolve() in [file.resolve() for file in files]:
        raise InputError(f"{out} is the climate set itself; name another file for the maps")
    if picture is not None and picture.suffix.lower().lstrip(".") not in FORMATS:
        raise click.UsageError(f"a picture is written as .svg or .png, not as '{picture.name}'")
    try:
        size = dask.utils.parse_bytes(block)
    except ValueError:
        raise click.UsageError(f"'{block}' is no size such as 64MB") from None
    weather = open_grid(files, tmin=tmin, tmax=tmax, units=units, block_bytes=size)
    forecasts = _forecasts(garden, weather, species, calibration, as_of, cut)
    with _computing(workers, memory, scheduler):
        write_maps(region_maps(weather, forecasts), out)
    maps = read_maps(out)
    lines = list(region_lines(maps))
    put("\n".join(lines))
    say(f"Wrote {out}. The maps say when to look; the leaf decides.")
    if picture is not None:
        from reports.charts.region_map import describe_region, plot_region

        save_chart(plot_region(maps), picture, describe_region(maps))
        say(f"Wrote {picture}.")


def _forecasts(
    opened: OpenGarden,
    weather: xr.Dataset,
    typed: str,
    calibration: str | None,
    as_of: str | None,
    cut: str | None,
) -> CellForecasts:
    from phenology.language.date_style import full_date
    from phenology.model.errors import InputError, WeatherError
    from phenology.region.cells import CellForecasts
    from reports.garden.meant import own_species
    from reports.garden.open_garden import one_day

    days = weather.indexes["time"]
    first, last = days[0].date(), days[-1].date()
    day = last if as_of is None else one_day(as_of, lambda text: opened.read_date(text, by=last))
    if not first < day <= last + timedelta(days=366):
        raise WeatherError(
            f"the set has weather from {full_date(first)} to {full_date(last)}; {full_date(day)} lies outside"
        )
    taught = calibration == "garden" or (calibration is None and opened.exists)
    grown = {tree.species for tree in opened.trees} if taught else set()
    species = own_species(typed, grown, opened.catalogue)
    if taught and species.latin not in grown:
        if calibration == "garden":
            raise InputError(f"no tree of the garden is {species.latin}; map it with --calibration catalogue")
        taught = False
    when = None if cut is None else one_day(cut, lambda text: opened.read_date(text, by=day))
    limits = opened.settings_or_usual.limits
    return CellForecasts(species, day, opened.snapshot() if taught else None, limits, when)


@contextmanager
def _computing(workers: int | None, memory: str, scheduler: str | None) -> Iterator[None]:
    """Where dask computes: in this process with a line of progress, on processes here, or on a cluster."""
    if workers is None and scheduler is None:
        import dask
        from dask.callbacks import Callback

        from reports.views.progress import progress

        with progress("part") as step, dask.config.set(scheduler="synchronous"):
            done = [0]

            def each(_key: object, _result: object, _graph: object, state: Any, _id: object) -> None:
                done[0] += 1
                step(done[0], done[0] + sum(len(state[k]) for k in ("waiting", "ready", "running")))

            with Callback(posttask=each):
                yield
        return
    from distributed import Client, KilledWorker, LocalCluster

    from phenology.model.errors import InputError

    try:
        if scheduler is not None:
            client = Client(scheduler, timeout=CONNECT)
        else:
            cluster = LocalCluster(
                n_workers=workers, threads_per_worker=1, memory_limit=memory, dashboard_address=":0"
            )
            client = Client(cluster)
    except (OSError, ValueError) as error:
        raise InputError(f"no work can be shared out: {error}") from None
    try:
        with client:
            yield
    except KilledWorker:
        raise InputError(
            "a worker had too little memory; give each more with --memory, or less at once with --block"
        ) from None
    finally:
        if scheduler is None:
            cluster.close()
