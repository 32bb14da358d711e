"""What a garden asks of late work: every number may be set by the garden."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Limits:
    """The numbers that rules of work go by."""

    # how sure woken growth must be to ripen, and for an old tree. Common practice, no source.
    odds: float = 0.9
    old_odds: float = 0.95
    frost_c: float = 0.0  # a night at or below this is a frost; in the shelter of a weather screen. [degC]
    # how long before the first frost woken growth must be hard. Common practice, no source. [days]
    days_before_frost: int = 21
    # cuts stop this long before the median first frost. From memory, unverified.
    weeks_before_frost: float = 10.0
    least_daylength: float = 13.0  # cuts stop when days grow shorter than this. From memory, unverified. [h]
    # where it never freezes, the week whose usual nights fall below this stands for frost; trees of warm
    # winters rest below about 12 degC (from memory, unverified). [degC]
    cool_night_c: float = 12.0
    # tropical figs are defoliated only while nights stay above this. From memory, unverified. [degC]
    warm_night_c: float = 15.0
    # days above this scorch new and newly exposed leaves. From memory, unverified. [degC]
    hot_day_c: float = 33.0
    # when nobody is home to water, as ISO 8601 intervals such as "2026-08-01/2026-08-14"
    away: tuple[str, ...] = ()

    def required(self, old: bool) -> float:
        """The odds that a cut must have of ripening."""
        return max(self.odds, self.old_odds) if old else self.odds
