"""`flushcast compare`: seasons side by side."""

from __future__ import annotations

from pathlib import Path

import click

from reports.cli.common import as_of_option, garden_option, put


@click.command("compare")
@click.argument("seasons", nargs=-1)
@as_of_option
@click.option("--json", "as_json", is_flag=True, help="As JSON (schema flushcast.compare/1).")
@click.option("--csv", "as_csv", is_flag=True, help="The stage dates as CSV.")
@garden_option
def compare_command(
    garden: Path, seasons: tuple[str, ...], as_of: str | None, as_json: bool, as_csv: bool
) -> None:
    """Set seasons side by side: warmth to date, days ahead of usual, when each stage came, what
    followed work, and how dates have moved over the years.

    SEASONS are years (2024, or 2024/25 in the south); without any, the latest six.
    """
    if as_json and as_csv:
        raise click.UsageError("choose one of --json and --csv")
    from phenology.seasons.compare import compare_seasons
    from phenology.seasons.followed import what_followed
    from phenology.seasons.trends import garden_trends
    from reports.cli.garden_date import garden_date
    from reports.compare_more import followed_lines, more_record, trend_lines
    from reports.compare_output import compare_csv, compare_json, compare_text
    from reports.garden_snapshot import read_garden

    snapshot, settings = read_garden(garden, garden_date(garden, as_of), past=as_of is not None)
    comparison = compare_seasons(snapshot, [_season(text) for text in seasons])
    if as_csv:
        put(compare_csv(comparison).rstrip("\n"))
        return
    followed = what_followed(snapshot, set(comparison.seasons))
    trends = garden_trends(snapshot)  # of all seasons on record: a trend of a few would say nothing
    if as_json:
        put(compare_json(comparison, settings.units, more_record(followed, trends)))
        return
    put(compare_text(comparison, settings.units))
    for lines in (followed_lines(followed, snapshot), trend_lines(trends, snapshot)):
        if told := list(lines):
            put("\n" + "\n".join(told))


def _season(text: str) -> int:
    year = text.split("/")[0]
    if not (year.isdigit() and len(year) == 4):
        raise click.UsageError(f"a season is a year such as 2024, or 2024/25; got '{text}'")
    return int(year)
