"""`flushcast notify`: a message when something changed that is worth one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from phenology.model.errors import InputError, StoreError
from reports.cli.common import open_garden_option, put, tell
from reports.cli.telling.read_forecast import read_forecast
from reports.garden.open_garden import OpenGarden

if TYPE_CHECKING:
    from data_sources.kept.messages_sent import Sent


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
    from data_sources.kept.messages_sent import Sent, read_sent, sending_now
    from phenology.advice.agenda import make_agenda
    from phenology.advice.news import all_told, news
    from reports.output.sending import Receiver, addresses
    from reports.text.message_text import message_text, subject

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
    from data_sources.kept.messages_sent import Sent, keep_sent, read_sent

    with garden.changing():
        kept = read_sent(garden.folder)
        if kept.get(code, Sent()) != before:
            return False
        keep_sent(garden.folder, kept | {code: after})
        return True
