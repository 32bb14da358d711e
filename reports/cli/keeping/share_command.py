"""`flushcast share`: what a garden has learned, for other gardens."""

from __future__ import annotations

from pathlib import Path

import click

from reports.cli.common import open_garden_option, put, tell
from reports.garden.open_garden import OpenGarden


@click.command("share")
@click.argument("file", required=False, type=click.Path(path_type=Path), metavar="[FILE]")
@open_garden_option
def share_command(garden: OpenGarden, file: Path | None) -> None:
    """Write what the looks have taught of each species, for other growers' `flushcast learn-from`.

    The file holds numbers alone: waits and how sure they are, which warmth they follow, counts of seasons,
    trees and looks, and of the place its latitude to a whole degree and its coldest and warmest time. No
    name, note, date of a look or photo leaves the garden.
    """
    from data_sources.disk.whole_files import write_output
    from data_sources.sharing.calibration_file import garden_code, to_text
    from phenology.learning.sharing import shared_steps
    from phenology.model.errors import InputError
    from phenology.model.shared_calibration import SharedCalibration
    from phenology.species.catalogue import load_species

    snapshot = garden.snapshot()
    steps = tuple(shared_steps(snapshot))
    shared = SharedCalibration(garden_code(garden.some_places), "", snapshot.climate, steps)
    known = load_species()
    told = [name for name in shared.species if name in known]
    if not told:
        raise InputError(
            "there is nothing to share yet: looks must have followed a species of the catalogue from one "
            "stage to the next in one season at least"
        )
    text = to_text(shared, garden.today)
    if file is None:
        put(text)
    else:
        write_output(file, f"{text}\n".encode())
    where = f" in {file}" if file is not None else ""
    own = [name for name in shared.species if name not in known]
    tell(f"Shared{where}: {', '.join(told)}. Numbers alone: no names, notes or places.")
    if own:
        tell(f"Left out, for the catalogue lacks them: {', '.join(own)}.")
