"""The errors flushcast raises on purpose: each is one clear sentence for the grower.

FlushcastError
+-- InputError (also ValueError)   a value that cannot be used: what, where, what to do
|   +-- WeatherError               a weather series or file that cannot be used
|   +-- LookError                  a look that cannot stand as written
|   |   +-- StageOrderError        an earlier stage after a later one: new flush, or wrong look?
|   +-- UnknownNameError           no such tree, species, stage, place (near matches offered)
+-- StoreError                     the journal, the weather store or the garden folder cannot be used
    +-- StoreLockedError           somebody else is writing
    +-- StoreCorruptError          damaged file; the original is kept
    +-- StoreTooNewError           written by a newer flushcast; left untouched
"""

from __future__ import annotations


def beginning(text: str) -> str:
    """What was typed, as a message repeats it: of a whole page the first words."""
    return text if len(text) <= 120 else f"{text[:100]} ..."


class FlushcastError(Exception):
    """Base of every error that is meant for the grower to read."""


class InputError(FlushcastError, ValueError):
    """A value that cannot be used."""


class WeatherError(InputError):
    """A weather series or file that cannot be used."""


class LookError(InputError):
    """A look that cannot stand as written."""


class StageOrderError(LookError):
    """An earlier stage after a later one in the same flush."""


class UnknownNameError(InputError):
    """No tree, species, stage, place or operation (`what`) of that name; `near` names come best first."""

    def __init__(self, what: str, name: str, near: tuple[str, ...] | list[str] = ()) -> None:
        self.what, self.name, self.near = what, name, tuple(near)
        hint = f" Did you mean {' or '.join(self.near)}?" if self.near else ""
        super().__init__(f"there is no {what} called '{beginning(name)}'.{hint}")


class StoreError(FlushcastError):
    """The journal, the weather store or the garden folder cannot be used."""


class StoreLockedError(StoreError):
    """Another process holds the store for writing."""


class StoreCorruptError(StoreError):
    """The store is damaged; the original file is kept."""


class StoreTooNewError(StoreError):
    """The store was written by a newer flushcast and is left untouched."""
