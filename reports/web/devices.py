"""Who may see a garden that is served beyond this computer: devices paired once with a code.

A device carries a long random cookie; what is kept of it here is only its digest. The codes come from
whoever can read the terminal or already sits at a paired device.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
import threading
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from datetime import date
from pathlib import Path

from data_sources.disk.whole_files import PRIVATE, write_whole
from phenology.model.errors import InputError, StoreError

FILE_NAME = "devices.json"
COOKIE = "flushcast"
CODE_DIGITS = 8
CODE_SECONDS = 600
TRIES = 5
"""A code that was guessed at so often is void (ours)."""
MOST_DEVICES = 50


@dataclass(frozen=True)
class Device:
    """A paired phone, computer or program."""

    id: str
    name: str
    digest: str  # of its secret
    since: str  # the day it was paired, ISO


@dataclass
class _Code:
    text: str
    until: float
    tries: int = TRIES


@dataclass
class Devices:
    """The paired devices of a garden, kept in a file beside the journal that only its owner can read."""

    folder: Path
    clock: Callable[[], float]  # seconds, for how long a code holds
    today: Callable[[], date]
    _code: _Code | None = None
    _lock: threading.RLock = field(default_factory=threading.RLock)

    def new_code(self) -> str:
        """A code that pairs one device within ten minutes; the one before it is void."""
        with self._lock:
            text = f"{secrets.randbelow(10**CODE_DIGITS):0{CODE_DIGITS}d}"
            self._code = _Code(text, self.clock() + CODE_SECONDS)
            return text

    def pair(self, code: str, name: str) -> str:
        """Pair a device; returns its secret.

        Raises `InputError` if the code is wrong, was used, is too old, or was guessed at too often.
        """
        with self._lock:
            open_code = self._code
            if open_code is None or self.clock() > open_code.until:
                self._code = None
                raise InputError(
                    "no code is open now; ask for one on a paired device, or start flushcast again"
                )
            open_code.tries -= 1
            if not hmac.compare_digest(code.encode(), open_code.text.encode()):
                if open_code.tries <= 0:
                    self._code = None
                raise InputError("this is not the code; look again at the terminal or the paired device")
            self._code = None
            return self.add(name)

    def add(self, name: str) -> str:
        """Let a device or program in; returns its secret, which is kept nowhere."""
        with self._lock:
            known = self.listed()
            if len(known) >= MOST_DEVICES:
                raise InputError(f"{MOST_DEVICES} devices are paired already; take one out first")
            secret = secrets.token_urlsafe(32)
            shown = " ".join(name.split())[:40] or "a device"
            made = Device(secrets.token_hex(8), shown, _digest(secret), self.today().isoformat())
            self._keep([*known, made], self.calendar_secret())
            return secret

    def known(self, secret: str) -> Device | None:
        """The device that carries a secret."""
        digest = _digest(secret)
        return next((d for d in self.listed() if hmac.compare_digest(d.digest, digest)), None)

    def listed(self) -> list[Device]:
        """Every paired device, the oldest first."""
        return [Device(**one) for one in self._read().get("devices", [])]

    def revoke(self, id: str) -> None:
        """Take a device out: its cookie opens nothing any more."""
        with self._lock:
            self._keep([device for device in self.listed() if device.id != id], self.calendar_secret())

    def calendar_secret(self) -> str:
        """The secret part of the calendar's address; empty while there is none."""
        return str(self._read().get("calendar", ""))

    def set_calendar(self, *, on: bool) -> str:
        """A new secret for the calendar's address, or none; the one before opens nothing any more."""
        with self._lock:
            secret = secrets.token_urlsafe(24) if on else ""
            self._keep(self.listed(), secret)
            return secret

    def _read(self) -> dict[str, list[dict[str, str]]]:
        path = self.folder / FILE_NAME
        try:
            found = json.loads(path.read_text(encoding="utf-8"))
            return found if isinstance(found, dict) else {}
        except FileNotFoundError:
            return {}
        except (OSError, ValueError):
            raise StoreError(f"{path} cannot be read; remove it, and pair every device anew") from None

    def _keep(self, devices: list[Device], calendar: str) -> None:
        text = json.dumps({"devices": [asdict(d) for d in devices], "calendar": calendar}, indent=1)
        try:
            write_whole(self.folder / FILE_NAME, text.encode("utf-8"), mode=PRIVATE)
        except OSError as error:
            raise StoreError(f"{FILE_NAME} cannot be written: {error.strerror or error}") from None


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()
