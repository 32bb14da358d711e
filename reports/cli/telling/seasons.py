"""`flushcast compare`: seasons side by side."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from reports.cli.common import as_of_option, open_garden_option, put, say
from reports.garden.open_garden import OpenGarden

if TYPE_CHECKING:
    from phenology.garden import Garden
    from phenology.model.track_record import PastForecast

# As in reports.output.compare.COLUMNS, which --help does not load.
TABLES = ("stages", "trees", "warmth", "course", "frosts", "forecasts", "followed", "trends")


@click.command("compare")
@click.argument("seasons", nargs=-1)
@click.option("--stages", "every_stage", is_flag=True,
              help="Every stage of every flush, and the warmth that each took.")  # fmt: skip
@click.option(
    "--tree", metavar="NAME", help="Tree by tree instead, for the trees so named or of that species."
)
@click.option("--page", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.html",
              help="Everything as one HTML page, with pictures.")  # fmt: skip
@click.option("--look-back/--no-look-back", default=True,
              help="Whether past seasons are forecast again to see how good that was.")  # fmt: skip
@as_of_option
@click.option("--json", "as_json", is_flag=True, help="As JSON (schema flushcast.compare/1).")
@click.option("--csv", "as_csv", is_flag=True, help="One table as CSV: the stage dates, or that of --table.")
@click.option("--table", type=click.Choice(TABLES), help="Which table --csv writes.")
@open_garden_option
def compare_command(
    garden: OpenGarden,
    seasons: tuple[str, ...],
    every_stage: bool,
    tree: str | None,
    page: Path | None,
    look_back: bool,
    as_of: str | None,
    as_json: bool,
    as_csv: bool,
    table: str | None,
) -> None:
    """Set seasons side by side: warmth and days ahead of usual, frosts, when each stage came, how far off
    forecasts were, what followed work, and how dates have moved over the years.

    SEASONS are years (2024, or 2024/25 in the south); without any, the latest six.
    """
    if sum((as_json, as_csv, page is not None, tree is not None)) > 1:
        raise click.UsageError("choose one of --tree, --page, --json and --csv")
    if table and not as_csv:
        raise click.UsageError("--table goes with --csv")
    if every_stage and (as_json or as_csv or page is not None or tree is not None):
        raise click.UsageError("--stages goes with the text; the others tell every stage anyway")
    from phenology.model.track_record import first_hardenings
    from phenology.seasons.compare import compare_seasons
    from reports.garden.past_forecasts import garden_past
    from reports.output.compare import Compared
    from reports.text.compare_text import compare_text, tree_text
    from reports.text.progress import progress

    snapshot, settings = garden.snapshot(as_of), garden.settings
    comparison = compare_seasons(snapshot, [_season(text) for text in seasons])

    def past_forecasts() -> list[PastForecast]:
        with progress("past forecast") as step:
            return first_hardenings(garden_past(garden.folder, snapshot, say=say, progress=step))

    compared = Compared(comparison, settings.units, past_forecasts if look_back else None)
    if tree is not None:
        put(tree_text(comparison, settings.units, _trees(tree, snapshot)))
    elif as_csv:
        put(compared.table(table or "stages").as_csv().rstrip("\n"))
    elif as_json:
        put(compared.as_json())
    elif page is not None:
        from data_sources.disk.whole_files import write_output
        from reports.page.compare_page import compare_html

        html = compare_html(compared, settings.name).encode("utf-8")
        write_output(page, html)
        say(f"Wrote {page}, {len(html) // 1000} kB.")
    else:
        truth, followed, trends = compared.truth, compared.followed, compared.trends
        put(compare_text(comparison, settings.units, truth, followed, trends, every_stage=every_stage))


def _trees(text: str, garden: Garden) -> list[str]:
    from phenology.language.tree_selection import Roster, select_trees

    names = {latin: species.names for latin, species in garden.species.items()}
    roster = Roster(garden.trees, garden.places, garden.stands, names)
    return [tree.id for tree in select_trees(text, roster, on=garden.as_of)]


def _season(text: str) -> int:
    year = text.split("/")[0]
    if not re.fullmatch(r"[0-9]{4}", year):
        raise click.UsageError(f"a season is a year such as 2024, or 2024/25; got '{text}'")
    return int(year)
