"""Sending a message through `apprise`: mail, push services, chat. Where it goes to stays a secret."""

from __future__ import annotations

import logging
import os
import warnings
from hashlib import sha256

from phenology.model.errors import InputError

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
