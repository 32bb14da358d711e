"""May I? The answer to a grower who asks before working: yes, better wait, or no, why, and what instead."""

from __future__ import annotations

from dataclasses import dataclass

from phenology.work.case import Case
from phenology.work.rule import DAY_RULES, SHAPING, Finding
from phenology.work.rules import check_work
from phenology.work.technique import OPERATION_OF, choose

MOST_REASONS = 2

LEFT = ("aim", "weak tree")
"""Rules that leave a tree alone, whatever is asked; their sentence is not told again."""


@dataclass(frozen=True)
class Answer:
    """The answer to "may I do this work?"."""

    answer: str  # "yes", "better wait" or "no"
    # the reasons, two at most, a sentence each without a full stop; what to mind where the answer is yes
    why: tuple[str, ...]
    instead: str  # what to do instead now, in a sentence without a full stop; empty where the answer is yes
    when: str  # from when the work is better; empty where nobody can say, or the answer is yes
    findings: tuple[Finding, ...]  # everything the rules said


def may_i(case: Case) -> Answer:
    """Whether a piece of work is good for a tree today.

    Parameters
    ----------
    case : Case
        The work on its day. Nothing is written down.
    """
    findings = check_work(case)
    worst = next((a for a in ("no", "wait", "mind") if any(f.answer == a for f in findings)), "")
    strongest = [f for f in findings if f.answer == worst] if worst != "mind" else findings
    why = tuple(dict.fromkeys(f.sentence for f in strongest))[:MOST_REASONS]
    if worst in ("", "mind") and case.operation in SHAPING and case.stage is None and not case.early:
        unseen = "no look of this season says what its leaves are at"
        return Answer("better wait", (unseen,), "look first", "when the leaves are hard", tuple(findings))
    if worst in ("", "mind"):
        return Answer("yes", why, "", "", tuple(findings))
    when = next((f.when for f in strongest if f.when), "")
    instead = _instead(case, findings, "leave it alone until then" if when else "leave it alone")
    return Answer("no" if worst == "no" else "better wait", why, instead, when, tuple(findings))


def _instead(case: Case, findings: list[Finding], leave: str) -> str:
    """What the zone that was asked about opens, where that is other work and the day stands for it."""
    if case.operation not in (*SHAPING, "pinching"):
        return ""
    choice = choose(case.situation())
    if any(f.rule in LEFT for f in findings):
        return "leave it alone"
    same = any(OPERATION_OF[t] == case.operation for t in choice.now)
    return leave if same or any(f.rule in DAY_RULES for f in findings) else choice.sentence
