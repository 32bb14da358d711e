"""Which of many known spellings a text may be a slip of, without comparing it with each of them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from functools import lru_cache

_MOST = 16  # letters of a kind that are counted, hardly ever too few: bits for each of 32 kinds


class Spellings:
    """Known spellings, prepared to be held against many texts.

    `difflib` takes a fifth of a millisecond for a text and three hundred spellings, which a file of twenty
    thousand slips has not got. It calls alike what has the same letters in the same order, so two texts can
    only be alike if they have enough letters in common in any order. Those are counted on the bits of whole
    numbers, in a tenth of the time; what is left is for `difflib`.
    """

    def __init__(self, known: Iterable[str] = ()) -> None:
        self._by_length: dict[int, list[tuple[str, int]]] = {}
        for spelling in known:
            self.add(spelling)

    def add(self, spelling: str) -> None:
        """One more."""
        self._by_length.setdefault(len(spelling), []).append((spelling, _letters(spelling)))

    def perhaps_like(self, text: str, least: float) -> list[str]:
        """The spellings whose ratio to a text, as `difflib` has it, can be `least` or more; few others.

        Examples
        --------
        >>> Spellings(["hornbeam", "beech", "oak"]).perhaps_like("hornbeem", 0.75)
        ['hornbeam']
        """
        length, letters, found = len(text), _letters(text), list[str]()
        all_counted = letters.bit_count() == length
        for own_length, known in self._by_length.items():
            shared = (least - 1e-9) * (length + own_length) / 2
            if shared > min(length, own_length):
                continue
            if not all_counted:
                found += [name for name, _ in known]
            else:
                found += [name for name, own in known if (letters & own).bit_count() >= shared]
        return found


def _letters(text: str) -> int:
    """As many bits in a row for each kind of letter as it comes up: `&` leaves what two texts share."""
    kinds = Counter(ord(letter) % 32 for letter in text)
    return sum(((1 << min(times, _MOST)) - 1) << _MOST * kind for kind, times in kinds.items())


@lru_cache(maxsize=32)
def spellings(known: tuple[str, ...]) -> Spellings:
    """Known spellings, prepared once for all that are held against them."""
    return Spellings(known)
