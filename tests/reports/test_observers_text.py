"""How two people's eyes are compared in words."""

from __future__ import annotations

from phenology.learning.observers import Lateness
from reports.views.calibration_text import observers_text


def test_a_clear_difference_an_unclear_one_and_none_to_tell():
    clear = Lateness("hardened", "Wren", "Robin", 8, 6.2, 3.1, 9.0)
    alike = Lateness("hardened", "Wren", "Robin", 1, 0.6, -4.0, 5.2)
    words = observers_text([clear, alike]).split("\n")
    assert words[1] == "Robin calls leaves hard some 6 days later (3 to 9) than Wren; 8 flushes seen by"
    assert words[3].startswith("Wren and Robin call leaves hard alike, as far as can be told (-4 to 5 days);")
    assert "nobody is compared" in observers_text([])
