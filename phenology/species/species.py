"""What one entry of the species catalogue says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from phenology.model.errors import InputError
from phenology.species.fields import CAUTIONS, STEPS


@dataclass(frozen=True)
class Prior:
    """What is believed of a step before a tree was ever looked at.

    Attributes
    ----------
    days : float
        Median days the step takes at a constant `phenology.heat.clocks.REFERENCE_C`, where every way of
        counting warmth agrees; the same for all species, so that no prior needs turning.
    log_sd : float
        How far a species' own mean may lie from that, on the log scale (not the scatter between seasons).
    provenance : str
        Where `days` comes from.
    why : str
        The arithmetic behind `days`.
    log_sd_provenance : str
        Where `log_sd` comes from.
    """

    days: float
    log_sd: float
    provenance: str
    why: str = ""
    log_sd_provenance: str = ""


@dataclass(frozen=True)
class Species:
    """One entry of the catalogue.

    Attributes
    ----------
    latin : str
    names : tuple of str
        Common names, the usual one first.
    arrangement, growth, habit, defoliation, grown_for, sap, woken_by : str
        See `ALLOWED`.
    leaves : (int, int)
        Usual leaves on a finished shoot.
    group : str
        Vigour group whose priors apply where the species has none of its own.
    prone : bool
        Prone to canker and blight through wounds in wet weather.
    priors : mapping of step to Prior
    provenance : mapping of field to str
    overridden : tuple of str
        Fields that this garden has changed.
    """

    latin: str
    names: tuple[str, ...]
    arrangement: str
    growth: str
    habit: str
    defoliation: str
    leaves: tuple[int, int]
    group: str
    priors: Mapping[str, Prior] = field(hash=False)
    grown_for: str = "leaf"
    sap: str = "none"
    prone: bool = False
    note: str = ""
    provenance: Mapping[str, str] = field(default_factory=dict, hash=False)
    overridden: tuple[str, ...] = ()
    woken_by: str = "season"

    @property
    def name(self) -> str:
        """The usual common name, or the Latin one."""
        return self.names[0] if self.names else self.latin

    @property
    def cautions(self) -> tuple[str, ...]:
        """What a grower should know before cutting or worrying, a sentence each; see `CAUTIONS`."""
        keys = (f"habit {self.habit}", f"woken_by {self.woken_by}", f"growth {self.growth}")
        said = (self.sap_caution, *(CAUTIONS.get(key, "") for key in keys))
        return tuple(caution for caution in said if caution)

    @property
    def sap_caution(self) -> str:
        """What to know of its sap; empty where there is nothing to mind."""
        return CAUTIONS.get(f"sap {self.sap}", "")

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
