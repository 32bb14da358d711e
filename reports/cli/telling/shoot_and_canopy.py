"""Aids at the bench: `shoot`, how far to cut one, and `canopy`, light inside a tree."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from reports.cli.common import may_ask, open_garden_option, put, say, tell

if TYPE_CHECKING:
    from reports.garden.open_garden import OpenGarden

WAYS = "out, in, left, right, up or down"


@click.command("shoot")
@click.argument("species", nargs=-1, metavar="[SPECIES]")
@click.option("--budless/--no-budless", default=None, help="Whether the lowest leaf has no bud.")
@click.option("--first", metavar="WAY", help="Which way the first leaf with a bud points.")
@click.option("--second", metavar="WAY", help="Which way the second one points.")
@click.option("--long/--not-long", "long_internodes", default=None, help="Whether internodes are long.")
@click.option(
    "--leaves", metavar="TEXT", help='The whole shoot, such as "out no bud; left 8; in 12; out 11".'
)
@click.option("--usual", type=float, metavar="MM", help="With --leaves: the tree's usual internode.")
@click.option("--opposite", is_flag=True, help="Leaves come in pairs (told by SPECIES otherwise).")
@click.option("--svg", type=click.Path(path_type=Path), metavar="FILE", help="Draw it into a file as well.")
@open_garden_option
def shoot_command(
    garden: OpenGarden,
    species: tuple[str, ...],
    budless: bool | None,
    first: str | None,
    second: str | None,
    long_internodes: bool | None,
    leaves: str | None,
    usual: float | None,
    opposite: bool,
    svg: Path | None,
) -> None:
    """Say where to cut a shoot, why, whether the next one needs wire, and what grows next.

    \b
    flushcast shoot                                   asks three questions
    flushcast shoot "trident maple" --budless --first out --second in --not-long
    flushcast shoot --leaves "out no bud; left 8; in 20; out 12" --usual 9

    WAY: out, in, left, right, up or down, as the leaf points from the tree.
    """
    from phenology.species.catalogue import find_species
    from phenology.work.cautions import CUT_FIRM, HALVE_AFTER
    from phenology.work.shoot import asked, described, how_far
    from reports.views.shoot_picture import svg_picture, text_picture

    kind = find_species(" ".join(species), garden.catalogue) if species else None
    pairs = opposite or (kind is not None and kind.arrangement == "opposite")
    if leaves is not None:
        shoot = described(leaves, opposite=pairs)
    else:
        if may_ask():
            if budless is None:
                budless = click.confirm("Is the lowest leaf without a bud?", err=True)
            first = first or click.prompt(
                f"Which way does the first leaf with a bud point ({WAYS})", err=True
            )
            second = second or click.prompt("And the second", err=True)
            if long_internodes is None:
                long_internodes = click.confirm("Are internodes long for this tree?", err=True)
        if budless is None or not first or not second:
            raise click.UsageError("answer --budless or --no-budless, --first and --second, or give --leaves")
        shoot = asked(budless, first, second, opposite=pairs)
    cut = how_far(shoot, long_internodes=bool(long_internodes), usual_mm=usual)
    noun = "pair" if pairs else "leaf"
    put(text_picture(shoot, cut))
    put(f"\nCut just above {noun} {cut.after}; {_kept(cut.kept, noun)}.")
    for line in (*cut.why, cut.wire, cut.next):
        put(line)
    if svg is not None:
        from data_sources.disk.whole_files import write_output

        write_output(svg, svg_picture(shoot, cut).encode())
        say(f"Drawn into {svg}.")
    halved = kind is None or kind.takes("halve")
    tell(f"{CUT_FIRM} {HALVE_AFTER}" if halved else CUT_FIRM)
    if kind is not None and kind.sap_caution:
        tell(kind.sap_caution)
    if kind is not None and kind.growth == "fixed":
        tell("One flush a year is usual here: what is cut now may not grow again before spring.")


def _kept(kept: int, noun: str) -> str:
    if kept == 1:
        return f"one {noun} with {'buds' if noun == 'pair' else 'a bud'} stays"
    return f"{kept} {'pairs' if noun == 'pair' else 'leaves'} with buds stay"


@click.command("canopy")
@click.option("--above", type=float, required=True, metavar="READING", help="Light just above the canopy.")
@click.option("--inside", type=float, required=True, metavar="READING", help="Light among the inner leaves.")
@click.option(
    "--outer", type=click.FloatRange(0, 1, min_open=True), default=1.0, metavar="SHARE", show_default=True,
    help="Share of the leaf area that would be halved.",
)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="The figures as JSON.")
def canopy_command(above: float, inside: float, outer: float, as_json: bool) -> None:
    """Say what halving the outer leaves would bring to the inside.

    \b
    flushcast canopy --above 52000 --inside 11000

    Any light meter serves, lux too: only the ratio counts. Take both readings within a minute, meter level,
    under a bright even sky.
    """
    from phenology.work.canopy import TRADE_DEPTH, Canopy

    found = Canopy.measured(above, inside, outer)
    if as_json:
        import json

        figures = {
            "through": round(found.through, 4),
            "depth": round(found.depth, 4),
            "outer": outer,
            "through_after_halving": round(found.after(), 4),
            "gain": round(found.gain(), 4),
            "advice": found.advice,
        }
        put(json.dumps(figures, indent=2))
        return
    put(f"{found.through:.0%} of the light reaches the inside (leaf depth k x LAI {found.depth:.2f}).")
    put(f"Halving the outer leaves: {found.after():.0%} inside, {found.gain():.0%} more than now.")
    put(found.advice)
    tell(
        f'The trade\'s "half as much light again" holds at a depth of {TRADE_DEPTH:.2f}; '
        "a denser canopy gains more."
    )
