"""docs/journal.md says what the journal understands: its words and dates are read as it shows them."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from phenology.language.vague_dates import format_dates, parse
from phenology.language.words import STAGE_WORDS
from phenology.model.stages import Stage

PAGE = Path(__file__).resolve().parents[3] / "docs" / "journal.md"
TEXT = PAGE.read_text(encoding="utf-8")


def table(heading: str) -> dict[str, str]:
    """First cell to second, of the table whose header starts so."""
    lines = TEXT[TEXT.index(f"| {heading} |") :].split("\n\n")[0].splitlines()[2:]
    return dict([cell.strip() for cell in line.strip("|").split("|")] for line in lines)


def test_the_page_lists_every_word_for_a_stage():
    shown = {stage.strip("`"): tuple(words.split(", ")) for stage, words in table("stage").items()}
    assert tuple(shown) == tuple(Stage) and shown == STAGE_WORDS


def test_the_page_reads_dates_as_the_journal_does():
    shown = table("typed")
    assert len(shown) >= 15
    for typed, means in shown.items():
        found = parse(typed, today=date(2026, 7, 25))
        assert format_dates(found.earliest, found.latest) == means, typed
