"""Growers of every habit: how often they look, what they miss, what they write down. All numbers are ours."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Observer:
    """A grower's way of looking and writing down.

    Attributes
    ----------
    every : float
        Usual days between looks.
    missed : float
        Share of looks left out.
    vague : int
        Half-width of the dates written down, 0 for plain dates. [days]
    late, drift : float
        Days after the truth that leaves are called hardened in the first season, and days more each season.
    only_work : bool
        Whether only work is written down.
    weekends : bool
        Whether work waits for the weekend after the leaves were hard.
    notes_waiting : bool
        Whether looks at a cut tree are written down before its buds have broken.
    offset_known : bool
        Whether readings at the bench have told how it differs from the station.
    """

    name: str
    every: float
    missed: float = 0.0
    vague: int = 0
    late: float = 0.0
    drift: float = 0.0
    only_work: bool = False
    weekends: bool = True
    notes_waiting: bool = True
    offset_known: bool = True


OBSERVERS: tuple[Observer, ...] = (
    Observer("careful, every 4 days", 4.0),
    Observer("weekly, some missed", 7.5, missed=0.15),
    Observer("sloppy, every 20 days", 20.0, missed=0.15, notes_waiting=False),
    Observer("vague dates", 8.0, missed=0.15, vague=5, notes_waiting=False),
    Observer("hardening called late", 7.5, missed=0.15, late=7.0),
    Observer("bench warmer, not measured", 7.5, missed=0.15, offset_known=False),
    Observer("only work dates", 7.5, only_work=True),
)
