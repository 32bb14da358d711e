"""Long work says how far it has come: one calm line on a terminal, and nothing anywhere else.

The line stands on stderr, is written over in place, and is gone when the work is done or fails. Work that
is soon over shows nothing; pipes and logs never see any of it.
"""

from __future__ import annotations

import shutil
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TextIO

WAIT = 0.6  # seconds of work before a line appears (ours)
EVERY = 0.15  # seconds between two writings, so that it can be read (ours)

Step = Callable[[int, int], None]
"""Told how many parts are done, and of how many."""


class ProgressLine:
    """One line on a terminal (stderr), rewritten in place; where the stream is none nothing is written."""

    def __init__(
        self,
        stream: TextIO | None = None,
        clock: Callable[[], float] = time.monotonic,
        wait: float | None = None,
    ) -> None:
        self._stream = stream if stream is not None else sys.stderr
        self._drawn = self._stream is not None and self._stream.isatty()
        self._clock = clock
        self._next = clock() + (WAIT if wait is None else wait)
        self._shown = 0

    def __enter__(self) -> ProgressLine:
        return self

    def __exit__(self, *_: object) -> None:
        self.clear()

    def show(self, part: str, done: int, total: int) -> None:
        """Write which part is worked on in place of what stood there, unless it is too soon for that."""
        if not self._drawn or total < 1 or self._clock() < self._next:
            return
        words = f"Still working: {part} {min(done + 1, total)} of {total}"
        text = words[: shutil.get_terminal_size().columns - 1]
        self._write(f"\r{text:{self._shown}}")
        self._shown = len(text)
        self._next = self._clock() + EVERY

    def clear(self) -> None:
        """Take the line away."""
        if self._shown:
            self._write(f"\r{'':{self._shown}}\r")
            self._shown = 0

    def _write(self, text: str) -> None:
        self._stream.write(text)
        self._stream.flush()


@contextmanager
def progress(part: str, stream: TextIO | None = None) -> Iterator[Step]:
    """Show how far work has come while it goes on: what it yields is called with (parts done, parts in all).

    A `part` "season" is shown as "Still working: season 4 of 9".
    """
    with ProgressLine(stream) as line:
        yield lambda done, total: line.show(part, done, total)
