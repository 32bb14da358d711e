"""`flushcast check`: may I do this work? Nothing is written down."""

from __future__ import annotations

import click

from reports.cli.common import once_a_day, open_garden_option, put, tell
from reports.cli.telling.read_forecast import tell_usual_warmth
from reports.garden.open_garden import OpenGarden


@click.command("check")
@click.argument("words", nargs=-1, metavar="TREES OPERATION", required=True)
@click.option("--part", metavar="PART", help="top (the outer canopy), inside or bottom.")
@click.option("--date", "when", metavar="DATE", help="The day it would be done (today).")
@click.option("--json", "as_json", is_flag=True, help="The answers as JSON (schema flushcast.answer/1).")
@open_garden_option
def check_command(
    garden: OpenGarden, words: tuple[str, ...], part: str | None, when: str | None, as_json: bool
) -> None:
    """Ask whether a piece of work is good for a tree today, why, and what to do instead.

    \b
    flushcast check "quince 1" cutback
    flushcast check hornbeams halving --part outer

    The answer is yes, better wait or no. It writes nothing, and the leaf decides.
    """
    from phenology.advice.garden_forecast import usual_warmth_note
    from phenology.language.words import find_operation, find_part
    from phenology.model.records import Work
    from phenology.work.cautions import cautions
    from reports.garden.work_answers import work_answers
    from reports.output.answers import answers_table
    from reports.text.answer_text import answer_lines
    from reports.text.lines import wrapped

    trees, operation = garden.select_and(words, find_operation)
    day = garden.day(when)
    meant = find_part(part) if part else None
    answers = list(work_answers(garden, trees, Work("", "", operation, day.isoformat(), day, day, meant)))
    if as_json:
        put(answers_table(answers, operation, day).as_json(units=garden.settings.units))
        return
    for line in answer_lines(answers):
        put(wrapped(line))
    if operation.wakes:  # how late it is rests on the weather
        tell_usual_warmth(usual_warmth_note(garden.snapshot()))
    allowed = [tree for tree, one in answers if one.answer == "yes"]
    species = [garden.catalogue[t.species] for t in allowed if t.species in garden.catalogue]
    if allowed and (minded := once_a_day(garden, cautions([operation], species, len(allowed)))):
        tell(" ".join(minded))
