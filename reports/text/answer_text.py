"""The answer to "may I?" in words: yes, better wait or no, why, what instead, and from when."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from phenology.language.tree_selection import few_labels
from phenology.model.records import Tree
from phenology.work.answer import Answer
from phenology.work.rule import Finding


def answer_lines(answers: Iterable[tuple[Tree, Answer]]) -> Iterator[str]:
    """A sentence or two for the trees that get the same answer."""
    alike: dict[tuple[str, tuple[str, ...], str, str], list[Tree]] = {}
    for tree, one in answers:
        alike.setdefault((one.answer, one.why, one.instead, one.when), []).append(tree)
    for (answer, why, instead, when), trees in alike.items():
        reasons = [sentence.removeprefix(f"{trees[0].label} is ") for sentence in why]
        words = [f"{few_labels(trees)}: {answer}."]
        words += [f"{reason[:1].upper()}{reason[1:]}." for reason in reasons]
        if when:
            words.append(f"Better {when}.")
        if instead:
            words.append(f"Instead: {instead}.")
        yield " ".join(words)


def finding_lines(answers: Sequence[tuple[Tree, Answer]]) -> Iterator[str]:
    """Everything the rules said of work that was done, a sentence a rule, what forbids first."""
    by_rule: dict[tuple[str, str], tuple[Finding, list[Tree]]] = {}
    for tree, answer in answers:
        for finding in answer.findings:
            by_rule.setdefault((finding.rule, finding.sentence), (finding, []))[1].append(tree)
    found = sorted(by_rule.values(), key=lambda pair: not pair[0].forbids)
    for finding, trees in found:
        named = len(answers) > 1 or finding.forbids
        sentence = finding.sentence.removeprefix(f"{trees[0].label} is ") if named else finding.sentence
        yield f"{few_labels(trees)}: {sentence}." if named else f"{sentence[:1].upper()}{sentence[1:]}."
    if any(finding.forbids for finding, _ in found):
        yield "Written down all the same."
