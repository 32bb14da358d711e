"""Lessons from elsewhere as one table: JSON, CSV and DataFrame."""

from __future__ import annotations

from phenology.advice.lesson_here import Translation
from reports.table import Column, attribute
from reports.text.elsewhere_text import notes_of

SCHEMA = "flushcast.elsewhere/2"


COLUMNS: tuple[Column[Translation], ...] = (
    attribute("there", "text", "where the lesson was given"),
    attribute("here", "text", "where it is due"),
    attribute("tree", "text", "the tree meant; empty for any of the species"),
    attribute("from", "date", "the lesson's date, its first day; only day and month count", of="asked_from"),
    attribute("to", "date", "its last, where it was vague", of="asked_to"),
    attribute("operation", "text", "the work meant", of="lesson.operation"),
    attribute("species", "text", "the species meant", of="lesson.species.latin"),
    attribute(
        "cue", "text", "what the work goes by: a flush, or a season of the tree's year", of="state.cue"
    ),
    attribute("flush", "whole", "the flush meant; 0 with another cue", of="state.flush"),
    attribute("stage", "text", "what it was at there", of="state.stage"),
    Column("state_odds", "number", lambda t: t.state.odds, "that a tree there was at it; missing if said", 2),
    Column("there_usual", "date", lambda t: t.state.usual[1], "when that usually comes there"),
    attribute("due_low", "date", "by when that state has come here with a chance of 10 %"),
    attribute("due", "date", "50 %; missing where it does not come"),
    attribute("due_high", "date", "90 %"),
    attribute("until", "date", "the last day for the work here, where something ends it"),
    attribute("in_time", "yes", "whether it comes here before it is too late for the work"),
    attribute("answer", "text", "whether the lesson's own work is good here then"),
    attribute("why", "texts", "what stands against it, or is to be minded"),
    attribute("does", "text", "what to do here then"),
    attribute("never_share", "number", "chance that it does not come in the season, 0 to 1", 2),
    attribute("years_there", "whole", "of weather"),
    attribute("years_here", "whole", "of weather"),
    attribute("same_day_length", "date", "what day length alone would say"),
    Column("notes", "texts", lambda t: notes_of(t), "what to mind about the dates"),
)
