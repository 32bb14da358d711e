"""`flushcast report`: one page to read, print or send."""

from __future__ import annotations

from pathlib import Path

import click

from reports.cli.common import as_of_option, open_garden_option, say
from reports.cli.telling.read_forecast import tell_usual_warmth
from reports.garden.open_garden import OpenGarden


@click.command("report")
@click.option("--out", required=True, type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.html",
              help="The page; everything is in it.")  # fmt: skip
@click.option("--look-back/--no-look-back", default=True,
              help="Whether it also says what moved, and how good past forecasts were.")  # fmt: skip
@as_of_option
@open_garden_option
def report_command(garden: OpenGarden, out: Path, look_back: bool, as_of: str | None) -> None:
    """Write the garden as one HTML file: what to look at today and this week, the season in one picture.

    It needs no network and no scripts, and prints.
    """
    from data_sources.disk.whole_files import write_output
    from phenology.advice.garden_forecast import usual_warmth_note
    from reports.garden.past_forecasts import garden_past, read_with_skill
    from reports.page.render import report_html

    snapshot, settings = read_with_skill(garden, as_of), garden.settings
    page = report_html(
        garden.folder,
        snapshot,
        settings,
        look_back=look_back,
        past=garden_past(garden.folder, snapshot) if look_back else None,
        remember=as_of is None,
    )
    html = page.encode("utf-8")
    write_output(out, html)
    say(f"Wrote {out}, {len(html) // 1000} kB.")
    tell_usual_warmth(usual_warmth_note(snapshot))
