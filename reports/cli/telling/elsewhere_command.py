"""`flushcast elsewhere`: dates of a lesson from another climate become dates here."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from reports.cli.common import open_garden_option, put, say
from reports.garden.open_garden import OpenGarden

if TYPE_CHECKING:
    from phenology.model.season import SeasonCalendar
    from phenology.seasons.translate import ClimateOf
    from phenology.species.catalogue import Species
    from reports.text.elsewhere_text import Card

USUAL_MONTHS = (3, 4, 5, 6, 7, 8)  # first days of these months after the one in which the season starts
CARD_MONTHS = (4, 6)  # a card has room for two at 80 columns


def _files(_ctx: click.Context, _param: click.Parameter, given: tuple[str, ...]) -> list[tuple[str, Path]]:
    """`FILE`, or `NAME=FILE` where there are several towns."""
    pairs = [text.rpartition("=") for text in given]
    return [(name.strip(), Path(file).expanduser()) for name, _, file in pairs]


@click.command("elsewhere")
@click.argument("places", nargs=-1, required=True, metavar="PLACE...")
@click.option("--date", "dates", multiple=True, metavar="DATE",
              help="A date of the lesson, such as '5 July' or 'early May'; may be repeated.")  # fmt: skip
@click.option("--from-here", is_flag=True, help="The other way: my dates become theirs.")
@click.option("--operation", metavar="WORD", help="The work meant, such as cutback or repotting.")
@click.option("--species", metavar="NAME", help="The species meant.")
@click.option("--year", type=int, help="The year of the lesson there, when it is known.")
@click.option("--weather", "files", multiple=True, metavar="[PLACE=]FILE", callback=_files,
              help="Daily weather of PLACE; without it, PLACE is a place of the garden.")  # fmt: skip
@click.option("--here", "here_file", type=click.Path(path_type=Path), metavar="FILE",
              help="Daily weather here; default: the garden's.")  # fmt: skip
@click.option("--place", metavar="NAME", help="Which place of the garden is here; default: the first.")
@click.option("--units", type=click.Choice(["C", "F", "tenths"]), help="Unit of the files.")
@click.option("--lat", type=click.FloatRange(-90, 90), help="Latitude of PLACE, where nothing else tells.")
@click.option("--json", "as_json", is_flag=True, help="As JSON (schema flushcast.elsewhere/1).")
@click.option("--csv", "as_csv", is_flag=True, help="As CSV.")
@click.option("--page", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.html",
              help="The card as one HTML page, to print on a sheet.")  # fmt: skip
@open_garden_option
def elsewhere_command(
    garden: OpenGarden,
    places: tuple[str, ...],
    dates: tuple[str, ...],
    from_here: bool,
    operation: str | None,
    species: str | None,
    year: int | None,
    files: list[tuple[str, Path]],
    here_file: Path | None,
    place: str | None,
    units: str | None,
    lat: float | None,
    as_json: bool,
    as_csv: bool,
    page: Path | None,
) -> None:
    """Turn the dates of a lesson given in PLACE into dates here, by the warmth that gathers in both.

    Needs daily weather of both and no journal. With several PLACEs it is a card for a club, as text, CSV or
    page: what is done here on a date is due there when.
    """
    from phenology.language.words import find_operation
    from phenology.seasons.translate import TooLittleHeat, translate
    from reports.output.elsewhere import elsewhere_table
    from reports.text.elsewhere_text import Card, card_text, elsewhere_text

    if len(places) > 1 and (lat is not None or year is not None):
        raise click.UsageError("--lat and --year go with one PLACE")
    if year is not None and from_here:
        raise click.UsageError("--year is a year of the lesson there; it does not go with --from-here")
    if sum((page is not None, as_json, as_csv)) > 1:
        raise click.UsageError("choose one of --page, --json and --csv")
    work = find_operation(operation) if operation else ""
    tree = _species(garden, species) if species else None
    here = _here(garden, here_file, place, units)
    others = [_there(garden, name, files, len(places) == 1, units, lat) for name in places]
    outward = from_here or len(others) > 1
    home = here if outward else others[0]
    asked = list(_dates(garden, dates, home.calendar, CARD_MONTHS if len(others) > 1 else USUAL_MONTHS))
    pairs = [(here, other) if outward else (other, here) for other in others]
    learned = _learned(garden, tree.latin, work) if tree and here_file is None else None
    rows, refused = [], []
    for a, b in pairs:
        for first, last in asked:
            try:
                rows.append(translate(a, b, first, last, year=year, weights=learned))
            except TooLittleHeat as early:
                refused.append(early)
    if not rows:
        raise refused[0]
    if as_json or as_csv:
        table = elsewhere_table(rows, work, tree.latin if tree else "")
        put(table.as_json() if as_json else table.as_csv().rstrip("\n"))
    elif page is not None or len(others) > 1:
        names = {place.name for place in (home, *others)} - {name for name, _ in files}
        towns = tuple(b for _, b in pairs)
        card = Card(home, towns, tuple(rows), work, tree, _attribution(garden, names))
        if page is None:
            put(card_text(card))
        else:
            _write(card, page)
    else:
        put(elsewhere_text(rows, work=work, species=tree))
    if dates:
        for problem in refused:
            say(f"note: {problem}")


def _write(card: Card, page: Path) -> None:
    from data_sources.disk.whole_files import write_output
    from reports.page.card_page import card_html

    html = card_html(card).encode("utf-8")
    write_output(page, html)
    say(f"Wrote {page}, {len(html) // 1000 or 1} kB.")


def _attribution(garden: OpenGarden, names: set[str]) -> tuple[str, ...]:
    """What the sources of these places' weather ask to be shown, for those that are places of the garden."""
    if not garden.exists:
        return ()
    from data_sources.weather.store.weather_store import WeatherStore
    from phenology.model.errors import WeatherError

    mine = [place for place in garden.some_places if place.name in names]
    try:
        with WeatherStore.open(garden.folder) as store:
            lines = [line for p in mine if store.has(p.id) for line in store.attribution_lines(p.id)]
    except WeatherError:
        return ()
    return tuple(dict.fromkeys(lines))


def _species(garden: OpenGarden, typed: str) -> Species:
    """The species meant, with the garden's own where there is one."""
    from reports.garden.own_species import own_species

    grown = {tree.species for tree in garden.trees} if garden.exists else set()
    return own_species(typed, grown, garden.catalogue)


def _learned(garden: OpenGarden, latin: str, work: str) -> dict[str, float] | None:
    """Heat clocks weighed by the garden's own looks at a species, where it has any."""
    from reports.garden.elsewhere_weather import learned_weights

    weights, seasons = learned_weights(garden, latin, work) or (None, 0)
    if weights:
        say(f"Ways of counting warmth are weighed by your own looks, {seasons} seasons of {latin}.")
    return weights


def _here(garden: OpenGarden, file: Path | None, place: str | None, units: str | None) -> ClimateOf:
    from reports.garden.elsewhere_weather import climate_from_file, climate_of_garden_place

    if file is not None:
        return climate_from_file(place or "your place", file, units, None)
    return climate_of_garden_place(garden, place)


def _there(
    garden: OpenGarden,
    name: str,
    files: Sequence[tuple[str, Path]],
    alone: bool,
    units: str | None,
    latitude: float | None,
) -> ClimateOf:
    from phenology.model.errors import WeatherError
    from reports.garden.elsewhere_weather import climate_from_file, climate_of_garden_place, lacking

    wanted = name.strip().casefold()
    for of, file in files:
        if of.casefold() == wanted or (alone and not of):
            return climate_from_file(name, file, units, latitude)
    if not garden.exists:
        raise WeatherError(lacking(name))
    return climate_of_garden_place(garden, name)


def _dates(
    garden: OpenGarden, typed: Sequence[str], calendar: SeasonCalendar, usual: Sequence[int]
) -> Iterator[tuple[date, date]]:
    from phenology.model.errors import InputError

    if not typed:
        for months in usual:
            turn = date(2023, (calendar.start_month - 1 + months) % 12 + 1, 1)
            yield turn, turn
    for text in typed:
        when = garden.read_date(text)
        if when.earliest is None or when.latest is None:
            raise InputError(f"'{text}' is no date to translate; write one such as '5 July' or 'early May'")
        yield when.earliest, when.latest
