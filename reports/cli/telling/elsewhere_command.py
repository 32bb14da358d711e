"""`flushcast elsewhere`: dates of a lesson from another climate become dates here."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from reports.cli.common import may_ask, open_garden_option, put, say, write_page
from reports.garden.open_garden import OpenGarden

if TYPE_CHECKING:
    from phenology.advice.lesson import Lesson
    from phenology.advice.lesson_place import LessonPlace
    from phenology.species.catalogue import Species

USUAL_MONTHS = (3, 4, 5, 6, 7, 8)  # first days of these months after the one in which the season starts
CARD_MONTHS = (4, 6)  # a card has room for two at 80 columns


def _named(_ctx: click.Context, _param: click.Parameter, given: tuple[str, ...]) -> dict[str, str]:
    """`VALUE`, or `PLACE=VALUE` where there are several places; by place in lower case."""
    pairs = [text.rpartition("=") for text in given]
    return {name.strip().casefold(): value.strip() for name, _, value in pairs}


def _degrees(ctx: click.Context, param: click.Parameter, given: tuple[str, ...]) -> dict[str, float]:
    return {
        name: float(click.FloatRange(-90, 90)(value, param, ctx))
        for name, value in _named(ctx, param, given).items()
    }


@click.command("elsewhere")
@click.argument("places", nargs=-1, required=True, metavar="PLACE...")
@click.option("--date", "dates", multiple=True, metavar="DATE",
              help="A date of the lesson, such as '5 July' or 'early May'; may be repeated.")  # fmt: skip
@click.option("--from-here", is_flag=True, help="The other way: my dates become theirs.")
@click.option("--operation", metavar="WORD", help="The work taught, such as cutback or repotting.")
@click.option("--species", metavar="NAME", help="The species meant.")
@click.option("--stage", metavar="WORD", help="What the tree was at, if you know; else it is worked out.")
@click.option("--flush", type=click.IntRange(1, 4), help="Of which flush, 1 for that of spring.")
@click.option("--year", type=int, help="The year of the lesson there, when it is known.")
@click.option("--weather", "files", multiple=True, metavar="[PLACE=]FILE", callback=_named,
              help="Daily weather of PLACE; default: the garden's, or what is usual there.")  # fmt: skip
@click.option("--here", "here_file", type=click.Path(path_type=Path), metavar="FILE",
              help="Daily weather here; default: the garden's.")  # fmt: skip
@click.option("--place", metavar="NAME", help="Which place of the garden is here; default: the first.")
@click.option("--units", type=click.Choice(["C", "F", "tenths"]), help="Unit of the files.")
@click.option("--lat", "latitudes", multiple=True, metavar="[PLACE=]DEGREES", callback=_degrees,
              help="Latitude of PLACE (here=DEGREES: of this one), where nothing else tells.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="As JSON (schema flushcast.elsewhere/2).")
@click.option("--csv", "as_csv", is_flag=True, help="As CSV.")
@click.option("--page", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.html",
              help="The card as one HTML page: a handout for the lesson.")  # fmt: skip
@open_garden_option
def elsewhere_command(
    garden: OpenGarden,
    places: tuple[str, ...],
    dates: tuple[str, ...],
    from_here: bool,
    operation: str | None,
    species: str | None,
    stage: str | None,
    flush: int | None,
    year: int | None,
    files: dict[str, str],
    here_file: Path | None,
    place: str | None,
    units: str | None,
    latitudes: dict[str, float],
    as_json: bool,
    as_csv: bool,
    page: Path | None,
) -> None:
    """Turn dates of a lesson given in PLACE into dates here: what a tree was at, and when that comes.

    \b
    flushcast elsewhere "The school" --lat 35.9 --date "5 July" \\
        --operation cutback --species hornbeam
    flushcast elsewhere Southmere --date "20 Feb" \\
        --operation repotting --species "trident maple"

    Needs no journal, and daily weather only for narrower dates. With several PLACEs it is a card for a
    club, as text, CSV or page: what is done here on a date is due there when.
    """
    from phenology.advice.lesson_here import translate
    from phenology.species.catalogue import neutral_species
    from reports.garden.elsewhere_weather import HERE, LessonPlaces, seasons_taught
    from reports.garden.past_forecasts import read_with_skill
    from reports.table import Table
    from reports.views.elsewhere_text import COLUMNS, SCHEMA, Card, card_text, elsewhere_text

    if len(places) > 1 and year is not None:
        raise click.UsageError("--year goes with one PLACE")
    if year is not None and from_here:
        raise click.UsageError("--year is a year of the lesson there; it does not go with --from-here")
    if sum((page is not None, as_json, as_csv)) > 1:
        raise click.UsageError("choose one of --page, --json and --csv")
    if len(places) > 1 and "" in {*files, *latitudes}:
        raise click.UsageError("with several places write --weather PLACE=FILE and --lat PLACE=DEGREES")
    kind = _species(garden, species) if species else neutral_species("")
    paths = {name: Path(file).expanduser() for name, file in files.items()}
    if here_file is not None:
        paths[HERE] = here_file
    known = LessonPlaces(garden, kind.latin, paths, latitudes, units)
    snapshot = read_with_skill(garden) if garden.exists and here_file is None else None
    here = known.home(place, snapshot)
    outward = from_here or len(places) > 1
    others = [known.elsewhere(name, here) for name in places]
    home = here if outward else others[0]
    usual = CARD_MONTHS if len(others) > 1 else USUAL_MONTHS
    lessons = list(_lessons(garden, kind, operation, stage, flush, year, _dates(garden, dates, home, usual)))
    pairs = [(here, other) if outward else (other, here) for other in others]
    rows = [row for a, b in pairs for lesson in lessons for row in translate(a, b, lesson)]
    if as_json or as_csv:
        table = Table(SCHEMA, COLUMNS, rows)
        put(table.as_json() if as_json else table.as_csv().rstrip("\n"))
    elif page is not None or len(others) > 1:
        names = {one.name for one in (here, *others) if one.name.casefold() not in files}
        card = Card(tuple(rows), _attribution(garden, names))
        if page is None:
            put(card_text(card))
        else:
            from reports.page.card_page import card_html

            write_page(page, card_html(card))
    else:
        put(elsewhere_text(rows))
    for name in known.guessed:
        say(f'Note: {name} is taken to lie at 45 degrees; say better with --lat "{name}=DEGREES"')
    if seasons := seasons_taught(here):
        say(f"What {kind.latin} takes is learned from your own looks, {seasons} seasons.")


def _attribution(garden: OpenGarden, names: set[str]) -> tuple[str, ...]:
    """What the sources of these places' weather ask to be shown, for those that are places of the garden."""
    if not garden.exists:
        return ()
    from reports.garden.place_weather import read_place_weather

    mine = [place.id for place in garden.some_places if place.name in names]
    return tuple(dict.fromkeys(read_place_weather(garden.folder, mine, None).attribution))


def _species(garden: OpenGarden, typed: str) -> Species:
    """The species meant, with the garden's own where there is one."""
    from reports.garden.meant import own_species

    grown = {tree.species for tree in garden.trees} if garden.exists else set()
    return own_species(typed, grown, garden.catalogue)


def _lessons(
    garden: OpenGarden,
    kind: Species,
    operation: str | None,
    stage: str | None,
    flush: int | None,
    year: int | None,
    days: Iterator[tuple[date, date]],
) -> Iterator[Lesson]:
    from phenology.advice.lesson import FIRM, Lesson
    from phenology.language.words import find_bloom, find_operation, find_stage

    work = find_operation(operation) if operation else ""
    seen = (find_bloom(stage) or find_stage(stage)) if stage else None
    by_flush = work in FIRM and not Lesson(kind, work, date.min, date.min).cues
    if flush is None and seen is None and by_flush and may_ask():
        asks = "Which flush was it there (1: that of spring, 0: work it out)"
        flush = click.prompt(asks, type=click.IntRange(0, 4), default=0, err=True) or None
    for first, last in days:
        yield Lesson(kind, work, first, last, year, seen, flush)


def _dates(
    garden: OpenGarden, typed: Sequence[str], home: LessonPlace, usual: Sequence[int]
) -> Iterator[tuple[date, date]]:
    from phenology.model.errors import InputError

    if not typed:
        for months in usual:
            turn = date(2023, (home.garden.calendar.start_month - 1 + months) % 12 + 1, 1)
            yield turn, turn
    for text in typed:
        when = garden.read_date(text)
        if when.earliest is None or when.latest is None:
            raise InputError(f"'{text}' is no date to translate; write one such as '5 July' or 'early May'")
        yield when.earliest, when.latest
