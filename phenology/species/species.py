"""What one entry of the species catalogue says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from phenology.model.errors import InputError
from phenology.species.fields import CAUTIONS, DISEASES, NOT_HALVED, STEPS


@dataclass(frozen=True)
class Prior:
    """What is believed of a step before a tree was ever looked at."""

    # median days the step takes at a constant `phenology.heat.clocks.REFERENCE_C`, where every way of
    # counting warmth agrees; the same for all species, so that no prior needs turning
    days: float
    # how far a species' own mean may lie from that, on the log scale (not the scatter between seasons)
    log_sd: float
    provenance: str  # where `days` comes from
    why: str = ""  # the arithmetic behind `days`
    log_sd_provenance: str = ""  # where `log_sd` comes from


@dataclass(frozen=True)
class Species:
    """One entry of the catalogue."""

    latin: str
    names: tuple[str, ...]  # common names, the usual one first
    arrangement: str  # fields of one word: see `ALLOWED` of `phenology.species.fields`, as for other terms
    growth: str
    habit: str
    defoliation: str
    leaves: tuple[int, int]  # usual leaves on a finished shoot
    group: str  # vigour group whose priors apply where the species has none of its own
    priors: Mapping[str, Prior] = field(hash=False)  # by step
    grown_for: str = "leaf"
    sap: str = "none"
    prone: bool = False  # wounds cut in wet weather let a disease in
    note: str = ""
    provenance: Mapping[str, str] = field(default_factory=dict, hash=False)  # by field
    overridden: tuple[str, ...] = ()  # fields that this garden has changed
    woken_by: str = "season"
    leaf_kind: str = "medium"
    blooms: str = "none"
    leads: str = "top"  # where the tree grows strongest by itself
    # way of working whose technique profile applies where the species has no value of its own
    practice: str = "undescribed"
    keeps: tuple[int, int] = (2, 2)  # leaves, or pairs of leaves, that a cut keeps
    # techniques that the flush may open, first choice first; read them through `opens`
    first_flush: tuple[str, ...] = ("extend-cut",)
    later_flush: tuple[str, ...] = ("extend-cut",)
    # on which conditions a technique opens, see `CONDITIONS`
    needs: Mapping[str, tuple[str, ...]] = field(default_factory=dict, hash=False)
    # seasons of repotting and of structural pruning, see `SEASONS`
    repot: tuple[str, ...] = ("bud-swell",)
    prune: tuple[str, ...] = ("bare",)
    diseases: tuple[str, ...] = ()  # that work lets in, see `DISEASES`

    @property
    def is_tropical(self) -> bool:
        """Whether a tree of warm winters is meant: short days do not put it to rest."""
        return self.group == "subtropical"

    @property
    def may_be_evergreen(self) -> bool:
        """Whether nobody has said if it drops its leaves: neither the catalogue nor the garden."""
        return self.practice == "undescribed" and "habit" not in self.overridden

    @property
    def name(self) -> str:
        """The usual common name, or the Latin one."""
        return self.names[0] if self.names else self.latin

    @property
    def cautions(self) -> tuple[str, ...]:
        """What a grower should know before cutting or worrying, a sentence each; see `CAUTIONS`."""
        keys = (
            f"habit {self.habit}",
            f"woken_by {self.woken_by}",
            f"growth {self.growth}",
            f"leads {self.leads}",
        )
        said = (self.sap_caution, *(CAUTIONS.get(key, "") for key in keys))
        return tuple(caution for caution in said if caution)

    @property
    def sap_caution(self) -> str:
        """What to know of its sap; empty where there is nothing to mind."""
        return CAUTIONS.get(f"sap {self.sap}", "")

    def opens(self, flush: int) -> tuple[str, ...]:
        """The techniques that a flush may open, first choice first, by its number in the season.

        `defoliation` and `leaf_kind` have the last word, so that a garden that changes either need not
        write the lists again.
        """
        listed = [t for t in (self.first_flush if flush == 1 else self.later_flush) if t != "none"]
        if self.defoliation == "never":
            listed = [t for t in listed if not t.endswith("-defoliation")]
        elif "outer-defoliation" not in listed and (flush == 1 or self.defoliation == "repeat"):
            listed.insert(listed.index("pinch") + 1 if "pinch" in listed else 0, "outer-defoliation")
        if self.leaf_kind in NOT_HALVED:
            listed = [t for t in listed if t != "halve"]
        return tuple(listed)

    def takes(self, technique: str) -> bool:
        """Whether any flush may open a technique."""
        return technique in self.opens(1) or technique in self.opens(2)

    @property
    def bloom_led(self) -> bool:
        """Whether the tree is shaped as its bloom ends, and left alone once next year's buds are set."""
        return self.takes("bloom-cut")

    def lets_in(self, way: str) -> tuple[str, ...]:
        """The diseases of the species that come in by a way, such as "wet wounds", in words."""
        return tuple(d.replace("-", " ") for d in self.diseases if DISEASES[d][0] == way)

    def prior(self, start: str, target: str) -> Prior:
        """The prior of one step, `start` being "start", "work" or a stage.

        Raises
        ------
        InputError
            If there is no such step.
        """
        step = f"{start}_{target}"
        if step not in self.priors:
            raise InputError(f"there is no step from {start} to {target}; the steps are {', '.join(STEPS)}")
        return self.priors[step]
