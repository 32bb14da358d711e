"""What was typed is merged into a record, and what an edit changes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, fields, replace
from datetime import date
from typing import Any, TypeAlias, TypeVar

from data_sources.journal.schema import Record
from phenology.language.date_style import full_date
from phenology.model.records import Look, Place, Tree, Work
from reports.garden.open_garden import OpenGarden

Edited = TypeVar("Edited", Look, Work, Tree, Place)
Readers: TypeAlias = Mapping[str, Callable[[OpenGarden, str], dict[str, Any]]]
"""For each option, the fields of the record that its text stands for."""


def merged(garden: OpenGarden, record: Edited, typed: Mapping[str, Any], readers: Readers) -> Edited:
    """The record with what was typed; options that were not typed (None, or a flag not set) leave it be."""
    changes: dict[str, Any] = {}
    for option, read in readers.items():
        text = typed.get(option)
        if text is not None and text is not False:
            changes |= read(garden, text)
    return replace(record, **changes)


def text_field(name: str) -> Callable[[OpenGarden, str], dict[str, Any]]:
    """Reads plain text; an empty one empties the field."""
    return lambda _, text: {name: text.strip() or None}


def differences(before: Edited, after: Edited) -> str:
    """What changed between two versions of a record: "pot round, note none, last repot 16 Mar 2025"."""
    changed = [f.name for f in fields(after) if getattr(after, f.name) != getattr(before, f.name)]
    return ", ".join(f"{name.replace('_', ' ')} {_shown(getattr(after, name))}" for name in changed)


def _shown(value: Any) -> str:
    if isinstance(value, date):
        return full_date(value)
    return "none" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


@dataclass(frozen=True)
class Edit:
    """What a command changes, and what is said of it; `label` is what the history says, where it differs."""

    said: str
    save: Iterable[Record]
    remove: Iterable[Record] = ()
    label: str = ""


def saved(garden: OpenGarden, plan: Callable[[], Edit]) -> tuple[Edit, str]:
    """Plan a change and save it with nobody writing in between; the change, and the batch that wrote it."""
    with garden.changing():
        edit = plan()
        garden.save(edit.label or edit.said.rstrip("."), edit.save, edit.remove)
        newest = garden.journal.newest_change()
    return edit, newest[1] if newest else ""
