"""Names as they are kept and compared: what looks alike is alike."""

from __future__ import annotations

import unicodedata
from functools import lru_cache

_UNSEEN = ("Cc", "Cf", "Cs", "Zl", "Zp")  # controls, joiners and marks of direction, halves of characters


def plain_spaces(text: str) -> str:
    """Text with single spaces and none at its ends."""
    return " ".join(text.split())


def plain_name(text: str) -> str:
    """A name as it is kept: compatible characters as one (Unicode NFKC), nothing unseen, single spaces.

    >>> plain_name("Elm\u00a0 \uff11\u200b")
    'Elm 1'
    """
    # Joiners and the like go first: without them two characters may yet become one.
    seen = "".join(" " if c.isspace() else c for c in text if c.isspace() or not _is_unseen(c))
    return plain_spaces(unicodedata.normalize("NFKC", seen))


@lru_cache(maxsize=1 << 16)
def name_key(text: str) -> str:
    """A name as names are compared: `plain_name` in small letters.

    >>> name_key("\uff25lm 1") == name_key("elm  1")
    True
    """
    return plain_name(plain_name(text).casefold())


def _is_unseen(character: str) -> bool:
    return unicodedata.category(character) in _UNSEEN
