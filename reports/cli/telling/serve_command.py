"""`flushcast serve`: the garden as pages, for the phone at the bench."""

from __future__ import annotations

import click

from phenology.model.errors import InputError
from reports.cli.common import open_garden_option, put, tell
from reports.garden.open_garden import OpenGarden

PORT = 8420


@click.command("serve")
@click.option("--port", type=click.IntRange(1, 65535), default=PORT, show_default=True, help="The port.")
@click.option("--lan", is_flag=True, help="For phones on the home network too; they are paired with a code.")
@click.option("--behind", metavar="NAME", help="A reverse proxy stands in front, under this public name.")
@click.option(
    "--prefix", default="", metavar="PATH", help="The path under which that proxy shows the garden."
)
@open_garden_option
def serve_command(garden: OpenGarden, port: int, lan: bool, behind: str | None, prefix: str) -> None:
    """Show the garden as pages in the browser: today, the round, looks and work, trees, seasons.

    \b
    flushcast serve
    flushcast serve --lan

    Without --lan only this computer can ask for them. Stop it with Ctrl-C.
    """
    try:
        from reports.web.server import Serving, serve
    except ModuleNotFoundError as error:
        raise InputError(
            f"serving pages needs {error.name}, which is not installed: pip install 'flushcast[serve]'"
        ) from None
    serving = Serving(garden.folder, port, lan, behind, prefix)
    devices = serving.devices()
    put(serving.url)
    if devices is not None:
        from reports.web.qr import terminal_qr

        if lan:
            tell("This is plain HTTP: whoever shares this network could read along. Use it at home.")
        code = devices.new_code()
        put(f"Code to pair a device, good for ten minutes: {code}")
        put(terminal_qr(f"{serving.url}pair?code={code}"))
    tell("Stop with Ctrl-C.")
    garden.close()
    serve(serving, devices)
