"""`flushcast calibrate`: what the looks have taught."""

from __future__ import annotations

import click

from reports.cli.common import as_of_option, open_garden_option, put
from reports.cli.telling.read_forecast import tell_usual_warmth
from reports.garden.open_garden import OpenGarden


@click.command("calibrate")
@click.argument("species", required=False)
@as_of_option
@click.option(
    "--classic", is_flag=True, help="Base temperatures by the classic methods, for comparison only."
)
@click.option(
    "--json",
    "as_json",
    is_flag=True,
    help="As JSON (schema flushcast.calibration/1, or flushcast.classic/1).",
)
@open_garden_option
def calibrate_command(
    garden: OpenGarden, species: str | None, as_of: str | None, classic: bool, as_json: bool
) -> None:
    """Say, per species and step, what was learned from the looks and how sure it is."""
    from phenology.advice.garden_forecast import usual_warmth_note
    from phenology.learning.calibration import calibrate
    from phenology.learning.garden_fit import GardenFit
    from phenology.learning.garden_leaves import GardenLeaves
    from phenology.learning.learned_from import learned_from
    from phenology.learning.work_habit import work_habits
    from phenology.model.track_record import TrackRecord
    from reports.garden.own_species import own_species
    from reports.garden.past_forecasts import garden_past
    from reports.output.calibration import calibration_json, classic_json
    from reports.text.calibration_text import calibration_text, classic_text, observers_text
    from reports.text.progress import progress

    snapshot, settings = garden.snapshot(as_of), garden.settings
    grown = {tree.species for tree in snapshot.trees}
    latin = own_species(species, grown, snapshot.species).latin if species is not None else None
    fit = GardenFit(snapshot)
    if classic:
        from phenology.learning.classic import classic_rows

        compared = classic_rows(fit, latin)
        put(classic_json(compared) if as_json else classic_text(compared, settings.units))
        return
    with progress("species") as step:
        rows = list(calibrate(fit, latin, progress=step))
    with progress("past forecast") as step:
        past = garden_past(garden.folder, snapshot, progress=step)
    skills = [one for one in TrackRecord.of(past).values() if one.trees and latin in (None, one.species)]
    habits = list(work_habits(fit.histories, snapshot.calendar, latin))
    leaves, learned = GardenLeaves(fit).habits(latin), list(learned_from(fit, latin))
    if as_json:
        put(
            calibration_json(
                rows=rows,
                past_forecasts=skills,
                work_habits=habits,
                leaf_counts=leaves,
                learned_from=learned,
            )
        )
    else:
        put(calibration_text(rows, dict(snapshot.species), settings.units, skills, habits, leaves, learned))
        tell_usual_warmth(usual_warmth_note(snapshot))
        if len({look.who for look in snapshot.looks if look.who}) > 1:
            from phenology.learning.observers import observer_lateness

            put(observers_text(list(observer_lateness(snapshot))))
