"""Light inside a canopy, from two readings: what halving the outer leaves would bring.

Light falls through leaves as exp(-k LAI) (Beer-Lambert for canopies; Monsi and Saeki 1953, name from memory,
the exponential form as two model manuals quote it). Above and inside are a ratio, so any steady light meter
serves, a lux meter too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from phenology.model.errors import InputError

TRADE_GAIN = 0.5
"""The trade's "half as much light again" for halving the outer leaves: common practice, no source."""

TRADE_DEPTH = 2 * math.log(1 + TRADE_GAIN)
"""The leaf depth k LAI at which halving every leaf brings just that: 2 ln 1.5 = 0.811 (derived)."""

WORTH = 0.25  # a gain of less than a quarter is hardly worth the leaf (ours)
BRIGHT = 0.5  # inside with half the light of outside needs no more (ours)


@dataclass(frozen=True)
class Canopy:
    """Light inside a canopy."""

    through: float  # share of the light that reaches the inside, 0 to 1
    depth: float  # effective k LAI of the leaves above it
    outer: float = 1.0  # share of that leaf area which is outer leaves

    @classmethod
    def measured(cls, above: float, inside: float, outer: float = 1.0) -> Canopy:
        """From a reading above the canopy and one inside it, in the same unit.

        Raises
        ------
        InputError
            If a reading is not above zero, the inside is brighter, or the share is not within (0, 1].

        Examples
        --------
        >>> round(Canopy.measured(45000, 20000).depth, 3)
        0.811
        """
        if not (above > 0 and inside > 0) or not (math.isfinite(above) and math.isfinite(inside)):
            raise InputError("both readings must be above zero, in the same unit")
        if inside > above:
            raise InputError(
                f"inside ({inside:g}) is brighter than above ({above:g}); take both within a minute, "
                "in the same light"
            )
        if not 0 < outer <= 1:
            raise InputError(f"the share of outer leaves lies above 0 and at most 1, not {outer:g}")
        return cls(inside / above, -math.log(inside / above), outer)

    def after(self, taken: float = 0.5) -> float:
        """Share of light inside once a share of each outer leaf is taken off."""
        return math.exp(-self.depth * (1 - taken * self.outer))

    def gain(self, taken: float = 0.5) -> float:
        """How much brighter the inside becomes: 0.5 is half as much light again.

        Examples
        --------
        >>> round(Canopy.measured(45000, 20000).gain(), 3)
        0.5
        """
        return self.after(taken) / self.through - 1

    @property
    def advice(self) -> str:
        """Whether halving the outer leaves is worth it, in a sentence."""
        if self.through >= BRIGHT:
            return "The inside has light enough; leave the leaves on."
        if self.gain() < WORTH:
            return "Halving would hardly tell; leave the leaves on."
        if self.after() < 0.1:
            return "Worth halving once leaves are hard; as the inside stays dark, thin crowded shoots too."
        return "Worth halving the outer leaves once hard, if the species is halved; leave inner leaves whole."
