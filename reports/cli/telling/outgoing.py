"""What leaves the terminal: `report`, `calendar`, `notify` and `serve`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from phenology.model.errors import InputError, StoreError
from reports.cli.common import (
    as_of_option,
    open_garden_option,
    put,
    read_forecast,
    say,
    tell,
    tell_usual_warmth,
    write_page,
)
from reports.garden.open_garden import OpenGarden

if TYPE_CHECKING:
    from reports.cli.telling.messages import Sent

KINDS = {"look": "look", "window": "window", "stop": "stop date", "wire": "wire look", "care": "care date"}
PORT = 8420


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
    from phenology.advice.garden_forecast import usual_warmth_note
    from reports.garden.past_forecasts import garden_past, read_with_skill
    from reports.page.render import report_html

    snapshot = read_with_skill(garden, as_of)
    past = garden_past(garden.folder, snapshot) if look_back else None
    settings, remember = garden.settings, as_of is None
    html = report_html(garden.folder, snapshot, settings, look_back=look_back, past=past, remember=remember)
    write_page(out, html)
    tell_usual_warmth(usual_warmth_note(snapshot))


@click.command("calendar")
@click.option("--out", required=True, type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.ics",
              help="The calendar file; written again, it brings its events up to date.")  # fmt: skip
@open_garden_option
def calendar_command(garden: OpenGarden, out: Path) -> None:
    """Write looks, windows, stop dates and care after work as all-day events.

    Write it to the same file after every look: events move instead of piling up.
    """
    from data_sources.disk.whole_files import read_output, write_output
    from reports.views.calendar_file import calendar_text, events_before, events_of

    there = read_output(out)
    before = events_before(there) if there is not None else {}
    forecast = read_forecast(garden)
    write_output(out, calendar_text(forecast, garden.settings.name, before))
    kinds = [event.kind for event in events_of(forecast)]
    parts = [f"{n} {KINDS[kind]}{'' if n == 1 else 's'}" for kind in KINDS if (n := kinds.count(kind))]
    say(f"Wrote {out}: {', '.join(parts) or 'nothing to look at in the coming months'}.")
    tell_usual_warmth(forecast.usual_warmth)


@click.command("notify")
@click.option("--dry-run", is_flag=True, help="Print what would be sent, and send nothing.")
@open_garden_option
def notify_command(garden: OpenGarden, dry_run: bool) -> None:
    """Send what changed since the last message: trees to look at, dates and stop dates that moved.

    Once a week at most, unless a window closes, or frost or heat is ahead; nothing for moves of under three
    days, or inside the range told before; nothing twice. Run it every morning; docs/guide.md has the lines
    for cron, systemd and Windows.

    Where to is read from FLUSHCAST_NOTIFY or the keyring, never from garden.toml: addresses as apprise writes
    them, with a space between.
    """
    from phenology.advice.agenda import make_agenda
    from phenology.advice.news import all_told, news
    from reports.cli.telling.messages import (
        Receiver,
        Sent,
        addresses,
        message_text,
        read_sent,
        sending_now,
        subject,
    )

    receivers: list[Receiver | None] = []
    try:
        receivers += [Receiver(address, n) for n, address in enumerate(addresses(), 1)]
    except InputError as error:
        if not dry_run:
            raise
        tell(f"Note: {error}.")
        receivers = [None]
    agenda, name = make_agenda(read_forecast(garden)), garden.settings.name
    now, failed = all_told(agenda), []
    for receiver in receivers:
        code = "" if receiver is None else receiver.code
        where = "" if receiver is None else f" to {receiver.name}"
        sent = read_sent(garden.folder).get(code, Sent())
        if sending_now(garden.folder, sent):
            tell(f"Another flushcast is sending{where} right now.")
            continue
        if sent.under_way is not None:
            tell(f"The last message{where} was cut off, and may not have gone; it is not sent again.")
        before = sent.under_way or sent.told
        found = news(agenda, now, before)
        if not found.worth_sending:
            tell(f"Nothing to send{where}.")
            if not dry_run and Sent(found.unsent) != sent:
                _keep(garden, code, sent, Sent(found.unsent))
            continue
        title, body = subject(found, name), message_text(found, agenda)
        if dry_run or receiver is None:
            put(f"{title}\n\n{body}")
            continue
        under_way = Sent(before, found.told)
        if not _keep(garden, code, sent, under_way):
            tell(f"Another flushcast is sending{where} right now.")
        elif receiver.send(title, body):
            _keep(garden, code, under_way, Sent(found.told))
            tell(f"Sent{where}: {title}")
        else:
            _keep(garden, code, under_way, Sent(before))
            failed.append(receiver.name)
    if failed:
        raise StoreError(f"no message went to {', '.join(failed)}; the next `flushcast notify` tries again")


def _keep(garden: OpenGarden, code: str, before: Sent, after: Sent) -> bool:
    """Write down what one receiver was told; False where another process has written meanwhile."""
    from reports.cli.telling.messages import Sent, keep_sent, read_sent

    with garden.changing():
        kept = read_sent(garden.folder)
        if kept.get(code, Sent()) != before:
            return False
        keep_sent(garden.folder, kept | {code: after})
        return True


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
        from reports.web.app import Serving, serve
    except ModuleNotFoundError as error:
        raise InputError(
            f"serving pages needs {error.name}, which is not installed: pip install 'flushcast[serve]'"
        ) from None
    serving = Serving(garden.folder, port, lan, behind, prefix)
    devices = serving.devices()
    put(serving.url)
    if devices is not None:
        from reports.web.device_pages import terminal_qr

        if lan:
            tell("This is plain HTTP: whoever shares this network could read along. Use it at home.")
        code = devices.new_code()
        put(f"Code to pair a device, good for ten minutes: {code}")
        put(terminal_qr(f"{serving.url}pair?code={code}"))
    tell("Stop with Ctrl-C.")
    garden.close()
    serve(serving, devices)
