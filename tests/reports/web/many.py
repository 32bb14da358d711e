"""The invented garden many times over: a thousand trees on three benches, each looked at this season."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import date
from pathlib import Path

from phenology.model.records import Place, Stand
from reports.garden.open_garden import OpenGarden
from tests.reports.demo import demo_folder

SUMMER_SOUTH = date(2026, 12, 14)
BENCHES = ("Long bench", "Shade bench")


def many_trees(folder: Path, trees: int, *, south: bool = False) -> Path:
    """Copy the invented garden, and have its trees stand there so often that they are as many as wanted.

    What they did in past seasons stays with the first twelve.
    """
    first = demo_folder(SUMMER_SOUTH, south=True) if south else demo_folder()
    shutil.copytree(first, folder)
    with OpenGarden(folder) as garden:
        journal, season = garden.journal, garden.calendar.season_of(garden.today)
        start, (place,) = garden.calendar.start(season), garden.places
        old, stands, aims = garden.trees, garden.stands, journal.aims()
        flushes = [flush for flush in journal.flushes() if flush.season == season]
        looks, works = journal.looks(since=start), journal.works(None, start)
        records: list[object] = [
            Place(name, name, place.latitude, place.longitude, place.elevation, place.timezone)
            for name in BENCHES
        ]
        for n in range(trees - len(old)):
            tree, id = old[n % len(old)], f"tree-{n}"
            records.append(replace(tree, id=id, label=f"{tree.label} x{n}"))
            records += [
                replace(one, id=f"{n}-{one.id}", tree_id=id) for one in stands if one.tree_id == tree.id
            ]
            if n % 3:
                records.append(Stand(f"stand-{n}", id, BENCHES[n % 2], start))
            records += [
                replace(one, id=f"{n}-{one.id}", tree_id=id) for one in aims if one.tree_id == tree.id
            ]
            records += [
                replace(one, id=f"{n}-{one.id}", tree_id=id)
                for one in works
                if one.tree_id == tree.id and one.latest >= start
            ]
            for flush in flushes:
                if flush.tree_id != tree.id:
                    continue
                mine = f"{n}-{flush.id}"
                records.append(
                    replace(flush, id=mine, tree_id=id, work_id=flush.work_id and f"{n}-{flush.work_id}")
                )
                records += [
                    replace(one, id=f"{n}-{one.id}", tree_id=id, flush_id=mine)
                    for one in looks
                    if one.flush_id == flush.id
                ]
        garden.save("many trees", records)  # type: ignore[arg-type]
    return folder
