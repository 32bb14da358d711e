"""Messages: their words, their way through `apprise` (mail, push, chat), and what they have reported.

Addresses stay a secret. What was reported is kept in `messages_sent.json` by where it went, so that nothing
is reported twice; what is about to be sent is written down before. Where a machine stops in between, nobody
knows whether it went; it then counts as sent. The file may be deleted: the next message is then a first one.
"""

from __future__ import annotations

import json
import logging
import os
import time
import warnings
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from pathlib import Path
from typing import Any

from data_sources.disk.whole_files import read_note, replace_text
from data_sources.kept_notes import issued_of, rows_of
from phenology.advice.agenda import Agenda
from phenology.advice.alike import alike
from phenology.advice.news import News, Told
from phenology.model.errors import InputError
from phenology.work.cautions import CUT_FIRM, LOOK_FIRST
from reports.views.change_text import as_counted, changes_text
from reports.views.forecast_text import advice_words
from reports.views.words import capital, counted, short_date, tree_names, weekday_full_date

WIDTH = 72
MOST_TREES = 12  # groups of trees that a message tells of; the rest are counted


def subject(found: News, name: str) -> str:
    """What it is about, most pressing first: "My benches: frost ahead; look at 2 trees"."""
    parts = [f"{care} ahead" for care in dict.fromkeys(one.care for one in found.weather)]
    if found.closing:
        parts.append(
            f"{counted(len({row.tree.id for row, _ in found.closing}), 'trees')} to cut before it is too late"
        )
    if found.looks:
        parts.append(f"look at {counted(len({row.tree.id for row in found.looks}), 'trees')}")
    if found.changes:
        parts.append(f"{counted(len(found.changes), 'changes')}")
    return f"{' '.join(name.split())[:60]}: {'; '.join(parts)}"


def message_text(found: News, agenda: Agenda) -> str:
    """The message, a paragraph for each kind of news; the leaf has the last word."""
    blocks = [weekday_full_date(agenda.garden.as_of), *_blocks(found), f"{LOOK_FIRST} {CUT_FIRM}"]
    if agenda.garden.attribution:
        blocks.append(f"Weather: {'; '.join(agenda.garden.attribution)}.")
    return "\n\n".join(blocks)


def _blocks(found: News) -> Iterator[str]:
    by_weather: dict[str, list[str]] = {}
    for care in found.weather:
        by_weather.setdefault(care.what, []).append(care.tree.label)
    if by_weather:
        lines = [f"{_names(labels)}: {capital(what)}." for what, labels in by_weather.items()]
        yield "\n".join(lines)
    closing: dict[str, list[str]] = {}
    for row, visit in found.closing:
        stop = "" if visit.by is None else f"; stop by {short_date(visit.by)}"
        closing.setdefault(f"{visit.because}{stop}", []).append(row.tree.label)
    if closing:
        told = [f"{_names(labels)}: look today; {what}." for what, labels in closing.items()]
        yield "\n".join(["Closing:", *told])
    groups = alike(found.looks)
    if groups:
        told = [
            f"{tree_names(group.labels)}: {' '.join(map(capital, advice_words(group)))}"
            for group in groups[:MOST_TREES]
        ]
        more = len(groups) - MOST_TREES
        yield "\n".join(["Look at:", *told, *([f"And {more} more: flushcast forecast"] if more > 0 else [])])
    if found.changes and found.since is not None:
        yield changes_text(found.changes, found.since, WIDTH)


def _names(labels: list[str]) -> str:
    return tree_names(sorted(dict.fromkeys(labels), key=as_counted))


VARIABLE = "FLUSHCAST_NOTIFY"
SERVICE, USER = "flushcast", "notify"
"""Under which the keyring keeps the addresses."""
SECONDS = 20  # that a receiver is given to answer (ours)
MISSING = "messages need more packages: pip install 'flushcast[notify]'"


def addresses() -> list[str]:
    """Where messages go, as apprise writes it: from the environment, else from the keyring."""
    found = os.environ.get(VARIABLE) or _kept_in_keyring() or ""
    if not found.split():
        raise InputError(
            f"nothing says where messages go: set {VARIABLE} to an address such as mailto://..., or keep it "
            f"in the keyring with `keyring set {SERVICE} {USER}`; docs/guide.md has more"
        )
    return list(dict.fromkeys(found.split()))


def _kept_in_keyring() -> str | None:
    try:
        import keyring
    except ImportError:
        return None
    try:
        return keyring.get_password(SERVICE, USER)
    except keyring.errors.KeyringError:  # a server without one
        return None


class Receiver:
    """One place that messages go to.

    Raises
    ------
    InputError
        If apprise is missing or cannot read the address.
    """

    def __init__(self, address: str, number: int) -> None:
        try:
            import apprise
        except ImportError:
            raise InputError(MISSING) from None
        kind = address.partition("://")[0][:20] if "://" in address else "?"
        self.code = sha256(address.encode()).hexdigest()[:16]
        asset = apprise.AppriseAsset(
            app_id="flushcast", app_desc="flushcast", storage_mode=apprise.PersistentStoreMode.MEMORY
        )
        self._sender = apprise.Apprise(asset=asset)
        with warnings.catch_warnings():  # of what its services import, when the first is asked for
            warnings.simplefilter("ignore")
            added = self._sender.add(address)
        if not added or len(self._sender) != 1:
            raise InputError(
                f"address {number} of {VARIABLE} or the keyring cannot be read (it begins with '{kind}'); "
                "apprise's documentation lists how each service is written"
            )
        server = self._sender[0]
        server.socket_connect_timeout = server.socket_read_timeout = SECONDS
        self.name = f"address {number} ({kind})"

    def send(self, title: str, body: str) -> bool:
        """Send a message; whether the receiver took it."""
        import apprise

        log = logging.getLogger("apprise")
        log.disabled = True  # what it says may hold a password
        return bool(self._sender.notify(body=body, title=title, body_format=apprise.NotifyFormat.TEXT))


SENT = "messages_sent.json"
MOST_SECONDS = 600.0  # after which a message that is still under way was cut off (ours)
NOTHING = Told()


@dataclass(frozen=True)
class Sent:
    """What one receiver was told, and what was on its way when last heard of."""

    told: Told = NOTHING
    under_way: Told | None = None


def read_sent(folder: Path) -> dict[str, Sent]:
    """What each receiver was told; empty where nothing can be read."""

    def sent(one: Mapping[str, Any]) -> Sent:
        return Sent(_told(one["told"]), None if one["under_way"] is None else _told(one["under_way"]))

    return read_note(folder / SENT, lambda kept: {code: sent(one) for code, one in kept.items()}, {})


def sending_now(folder: Path, sent: Sent) -> bool:
    """Whether another process is likely to be sending what is under way, rather than to have been stopped."""
    with suppress(OSError):
        written = (folder / SENT).stat().st_mtime
        return sent.under_way is not None and time.time() - written < MOST_SECONDS
    return False


def keep_sent(folder: Path, sent: Mapping[str, Sent]) -> None:
    """Write it down; `StoreError` where the folder cannot be written, for then all would be told again."""
    rows = {
        code: {"told": _row(one.told), "under_way": None if one.under_way is None else _row(one.under_way)}
        for code, one in sent.items()
    }
    replace_text(folder / SENT, json.dumps(rows))


def _row(told: Told) -> dict[str, Any]:
    return {
        "on": None if told.on is None else told.on.isoformat(),
        "issued": rows_of(told.issued),
        "stops": dict(told.stops),
        "today": sorted(told.today),
        "alerts": {key: day.isoformat() for key, day in told.alerts.items()},
    }


def _told(row: Mapping[str, Any]) -> Told:
    return Told(
        None if row["on"] is None else date.fromisoformat(row["on"]),
        issued_of(row["issued"]),
        {str(tree): float(day) for tree, day in row["stops"].items()},
        frozenset(map(str, row["today"])),
        {str(key): date.fromisoformat(day) for key, day in row["alerts"].items()},
    )
