"""`flushcast learn-from`: other growers' calibrations, where one's own looks are still few."""

from __future__ import annotations

from collections.abc import Collection
from itertools import count
from pathlib import Path

import click

from phenology.model.errors import InputError
from reports.cli.common import open_garden_option, tell
from reports.garden.open_garden import OpenGarden


@click.command("learn-from")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE...")
@open_garden_option
def learn_from_command(garden: OpenGarden, files: tuple[Path, ...]) -> None:
    """Learn from calibrations that other gardens share; each is called by its file's name.

    \b
    flushcast learn-from anna.json bench-two.json

    They count like a better catalogue: the more alike the climate and the better gardens agree, the more,
    and the less, the more you have seen yourself. `flushcast calibrate` shows what came from whom,
    `flushcast undo` takes them out. A file that no flushcast wrote is refused, and then none is taken.
    """
    from data_sources.journal import SharedFile
    from data_sources.sharing.calibration_file import garden_code, read_calibrations

    own = garden_code(garden.some_places)
    labels = {file.id: file.label for file in garden.journal.shared_files()}
    taken: dict[str, SharedFile] = {}
    lines = []
    for path in files:
        shared, text = read_calibrations(path, path.stem)
        if shared.garden == own:
            raise InputError(f"{path} is this garden's own; nothing was learned")
        if shared.garden in taken:
            raise InputError(f"{path} and another file come from one garden; give the newer one alone")
        label = labels.get(shared.garden) or _free(path.stem, labels.values())
        labels[shared.garden] = label
        taken[shared.garden] = SharedFile(shared.garden, label, text)
        lines.append(f"{label}: {', '.join(shared.species) or 'nothing'}.")
    names = ", ".join(file.label for file in taken.values())
    garden.save(f"learned from {names}", taken.values())
    for line in lines:
        tell(line)
    tell(f"Learned from {names}; your own looks count before them. Undo: flushcast undo")


def _free(name: str, taken: Collection[str]) -> str:
    """A name that no other garden has here."""
    return next(free for n in count(1) if (free := name if n == 1 else f"{name} {n}") not in taken)
