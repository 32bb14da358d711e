"""What commands that change one record share: the change is planned and saved in one go, then said."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from reports.cli.common import tell
from reports.entries.merging import Edit
from reports.garden.open_garden import OpenGarden

UNDO = "Undo:\u00a0flushcast\u00a0undo"  # kept on one line, to be copied


def commit(garden: OpenGarden, plan: Callable[[], Edit]) -> None:
    """Plan a change and save it with nobody writing in between, then say what was done and how to undo it."""
    with garden.changing():
        edit = plan()
        garden.save(edit.label or edit.said.rstrip("."), edit.save, edit.remove)
    tell(f"{edit.said.rstrip('.')}. {UNDO}")


def committed(command: Callable[..., Edit]) -> Callable[..., None]:
    """Let a command return the `Edit` it is for; it runs under the garden's lock and is saved and told."""

    @wraps(command)
    def run(garden: OpenGarden, *given: Any, **typed: Any) -> None:
        commit(garden, lambda: command(garden, *given, **typed))

    return run
