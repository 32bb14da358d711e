"""Letters counted on bits leave out no spelling that the standard library would call alike."""

from __future__ import annotations

from difflib import SequenceMatcher

import pytest
from hypothesis import given
from hypothesis import strategies as st

from phenology.language.words import find_event
from phenology.mathematics.likeness import Spellings
from phenology.model.errors import UnknownNameError
from phenology.species.catalogue import load_species
from phenology.species.names import near_names

words = st.text("abeé x", max_size=12) | st.text("ab", min_size=30, max_size=50)


@given(known=st.lists(words, max_size=6), text=words, least=st.sampled_from([0.74, 0.75, 0.85]))
def test_whatever_is_alike_is_found(known: list[str], text: str, least: float) -> None:
    alike = {one for one in known if SequenceMatcher(None, one, text).ratio() >= least}
    assert alike <= set(Spellings(known).perhaps_like(text, least))


def test_a_slip_is_compared_with_few_names(monkeypatch: pytest.MonkeyPatch) -> None:
    """To compare each with every name of the catalogue and every word takes a file of slips a minute."""
    compared: list[str] = []
    ratio = SequenceMatcher.ratio
    monkeypatch.setattr(SequenceMatcher, "ratio", lambda self: compared.append(self.a) or ratio(self))
    slips = [f"fxgus {n}" for n in range(100)]
    assert not any(near_names(slip, load_species()) for slip in slips)
    for slip in slips:
        with pytest.raises(UnknownNameError):
            find_event(slip)
    assert len(compared) < len(slips)
    assert near_names("hornbeem", load_species())[0].endswith("hornbeam") and compared
