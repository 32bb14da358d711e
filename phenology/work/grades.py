"""How late it is for growth that a cut would wake: a grade with its odds, never a cliff at one number.

Grades rest on how often woken growth would be lost, against how often the garden puts up with that: half as
often is safe, twice as often is getting late, five times as often is risky (ours). Odds are told in tenths,
so that 89 and 91 in 100 read alike.
"""

from __future__ import annotations

GRADES = ("safe", "getting late", "risky", "too late")

LOSSES = {"safe": 0.5, "getting late": 2.0, "risky": 5.0}
"""The most often woken growth may be lost in a grade, in units of what the garden puts up with (ours)."""

MOST_LOST = {"safe": 0.3, "getting late": 0.5, "risky": 0.7}
"""The same whatever a garden puts up with (ours)."""

PAST_LIMIT_DAYS = {"getting late": 14, "risky": 28}
"""How far past a limit that is kept by the calendar a grade reaches (ours). [days]"""

HELP_LATE = "shelter soft growth from frost, and no feed that keeps it soft"
"""What late growth needs. Common practice, no source."""


def least_odds(asked: float = 0.9) -> dict[str, float]:
    """The odds of ripening from which on each grade holds, where a garden asks for some.

    Examples
    --------
    >>> {grade: round(odds, 3) for grade, odds in least_odds(0.9).items()}
    {'safe': 0.95, 'getting late': 0.8, 'risky': 0.5, 'too late': 0.0}
    """
    lost = {grade: min(LOSSES[grade] * (1 - asked), MOST_LOST[grade]) for grade in LOSSES}
    return {**{grade: 1 - share for grade, share in lost.items()}, "too late": 0.0}


def grade_of(odds: float, asked: float = 0.9, past_limit: float = 0.0) -> str:
    """How late it is.

    Parameters
    ----------
    odds : float
        That growth woken on the day ripens.
    asked : float
        The odds that the garden asks for.
    past_limit : float
        Days since the earliest limit that is kept by the calendar; 0 before it.

    Examples
    --------
    >>> [grade_of(odds) for odds in (0.96, 0.91, 0.89, 0.7, 0.2)]
    ['safe', 'getting late', 'getting late', 'risky', 'too late']
    >>> grade_of(0.99, past_limit=20)
    'risky'
    """
    by_odds = next(grade for grade, least in least_odds(asked).items() if odds >= least - 1e-9)
    by_date = "safe"
    if past_limit > 0:
        by_date = next((g for g, days in PAST_LIMIT_DAYS.items() if past_limit <= days), "too late")
    return max(by_odds, by_date, key=GRADES.index)


def odds_in_tenths(odds: float) -> str:
    """Odds as a grower would say them, no finer than they are known.

    Those under 9 in 10, which most work is asked for, are never called so.

    Examples
    --------
    >>> odds_in_tenths(0.89), odds_in_tenths(0.91), odds_in_tenths(0.99), odds_in_tenths(0.01)
    ('a little under 9 in 10', 'about 9 in 10', 'nearly certain', 'hardly a chance')
    """
    if odds >= 0.975:
        return "nearly certain"
    if odds >= 0.925:
        return "about 19 in 20"
    if 0.85 <= odds < 0.895:
        return "a little under 9 in 10"
    return "hardly a chance" if odds < 0.05 else f"about {max(1, round(10 * odds))} in 10"


def verdict_of(grade: str, *, guess: bool = False, first_half: bool = False) -> str:
    """What a grade says of waking growth: "yes", "mind", "wait" or "no".

    A guess from the catalogue forbids nothing in the first half of the growing season.

    Examples
    --------
    >>> verdict_of("risky"), verdict_of("too late"), verdict_of("too late", guess=True, first_half=True)
    ('wait', 'no', 'mind')
    """
    verdict = {"safe": "yes", "getting late": "mind", "risky": "wait", "too late": "no"}[grade]
    return "mind" if guess and first_half and verdict in ("wait", "no") else verdict
