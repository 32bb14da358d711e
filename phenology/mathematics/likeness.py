"""Which of many known spellings a text may be a slip of, without comparing it with each of them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from functools import lru_cache

_MOST = 64  # letters of a text that are counted: as many bits for each of 32 kinds of letters


class Spellings:
    """Known spellings, prepared to be held against many texts.

    `difflib` takes a fifth of a millisecond for a text and three hundred spellings, which a file of twenty
    thousand slips has not got. It calls alike what has the same letters in the same order, so two texts can
    only be alike if they have enough letters in common in any order. Those are counted on the bits of whole
    numbers, in a tenth of the time; what is left is for `difflib`.
    """

    def __init__(self, known: Sequence[str]) -> None:
        self._known = [(spelling, len(spelling), _letters(spelling)) for spelling in known]

    def perhaps_like(self, text: str, least: float) -> list[str]:
        """The spellings whose ratio to a text, as `difflib` has it, can be `least` or more; few others.

        Examples
        --------
        >>> Spellings(["hornbeam", "beech", "oak"]).perhaps_like("hornbeem", 0.75)
        ['hornbeam']
        """
        length, least = len(text), least - 1e-9
        if length > _MOST:  # few names are so long: their length says it
            known = self._known
            return [name for name, own, _ in known if 2 * min(length, own) >= least * (length + own)]
        letters = _letters(text)
        return [
            name
            for name, own, others in self._known
            if 2 * (letters & others).bit_count() >= least * (length + own)
        ]


def _letters(text: str) -> int:
    """As many bits in a row for each kind of letter as it comes up: `&` leaves what two texts share."""
    kinds = Counter(ord(letter) % 32 for letter in text)
    return sum(((1 << min(times, _MOST)) - 1) << _MOST * kind for kind, times in kinds.items())


@lru_cache(maxsize=32)
def spellings(known: tuple[str, ...]) -> Spellings:
    """Known spellings, prepared once for all that are held against them."""
    return Spellings(known)
