"""`flushcast import`: years of looks, however they were written down."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from phenology.language.written_days import DateOrder
from reports.cli.common import may_ask, open_garden_option
from reports.garden.open_garden import OpenGarden

TABLES = {"looks": "look", "works": "work", "trees": "tree", "places": "place"}


@click.command("import")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE...")
@click.option(
    "--as", "kind_of_file", type=click.Choice(list(TABLES)), help="What the rows are, if not clear."
)
@click.option(
    "--map",
    "mapping",
    multiple=True,
    metavar="HEADER=FIELD",
    help="What a column is, or which stage or work its dates are; remembered. HEADER=- passes it over.",
)
@click.option("--date-order", type=click.Choice(["day-first", "month-first"]), help="How 4/7/2025 reads.")
@click.option(
    "--kind",
    type=click.Choice(["seen", "happened"]),
    help="What vague dates are: seen so by then, or came about then.",
)
@click.option("--new-trees", is_flag=True, help="Add trees the files name but the garden lacks.")
@click.option("--tree", "trees", metavar="TREES", help="Of photos: which trees they show.")
@click.option("--stage", metavar="STAGE", help="Of photos: which stage they show.")
@click.option("--who", metavar="NAME", help="Of photos: who took them.")
@click.option("--strict", is_flag=True, help="All of it or nothing.")
@click.option("--yes", is_flag=True, help="Take what is understood without asking.")
@click.option("--dry-run", is_flag=True, help="Tell row by row what is understood; change nothing.")
@open_garden_option
def import_command(
    garden: OpenGarden,
    files: tuple[Path, ...],
    kind_of_file: str | None,
    mapping: tuple[str, ...],
    date_order: DateOrder | None,
    kind: str | None,
    new_trees: bool,
    trees: str | None,
    stage: str | None,
    who: str | None,
    strict: bool,
    yes: bool,
    dry_run: bool,
) -> None:
    """Take your notebook, tables or photos in; one undo takes them out again.

    \b
    flushcast import notebook.xlsx
    flushcast import notebook.csv --map "first green=budbreak" --new-trees
    flushcast import exported-folder
    flushcast import photos --tree hornbeams --stage soft

    FILE: looks and work, a row each or a row a season, trees or places, as
    CSV, XLSX or ODS; a folder that `flushcast export` wrote; or photos, or a
    folder of them: the camera tells the day, you say tree and stage.

    What is understood is shown and taken when you say so. Rows that are not go
    to a small sheet beside the file, with the question: mend it there and
    import it.
    """
    from data_sources.look_photos import holds_photos
    from reports.cli.writing.import_entry import take_in
    from reports.entries.intake import garden_answers

    said = []
    for text in mapping:
        header, equals, field = text.rpartition("=")
        if not equals or not header.strip() or not field.strip():
            raise click.UsageError(f"--map takes HEADER=FIELD, got '{text}'")
        said.append((header.strip(), field.strip()))
    photos = [holds_photos(path) for path in files]
    if any(photos):
        from reports.cli.writing import photo_entry

        if not all(photos):
            raise click.UsageError("import photos and tables one after the other")
        photo_entry.take_in(garden, files, trees, stage, who, may_ask=may_ask(), dry_run=dry_run)
        return
    if trees or stage or who:
        raise click.UsageError("--tree, --stage and --who go with photos; a table has columns for them")
    answers = replace(
        garden_answers(garden, TABLES.get(kind_of_file or "")),
        mapping=dict(said),
        date_order=date_order,
        kind=kind,
        new_trees=new_trees or None,
        strict=strict,
    )
    take_in(garden, files, answers, dry_run=dry_run, yes=yes)
