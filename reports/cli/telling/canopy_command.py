"""`flushcast canopy`: light inside a tree, from two readings."""

from __future__ import annotations

import click

from reports.cli.common import put, say


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

        put(
            json.dumps(
                {
                    "through": round(found.through, 4),
                    "depth": round(found.depth, 4),
                    "outer": outer,
                    "through_after_halving": round(found.after(), 4),
                    "gain": round(found.gain(), 4),
                    "advice": found.advice,
                },
                indent=2,
            )
        )
        return
    put(f"{found.through:.0%} of the light reaches the inside (leaf depth k x LAI {found.depth:.2f}).")
    put(f"Halving the outer leaves: {found.after():.0%} inside, {found.gain():.0%} more than now.")
    put(found.advice)
    say(
        f'The trade\'s "half as much light again" holds at a depth of {TRADE_DEPTH:.2f}; '
        "a denser canopy gains more."
    )
