"""`flushcast plan`: the flushes that a season may still bring, and what each opens."""

from __future__ import annotations

import click

from reports.cli.common import as_of_option, open_garden_option, put
from reports.cli.telling.read_forecast import tell_usual_warmth
from reports.garden.open_garden import OpenGarden


@click.command("plan")
@click.argument("trees", nargs=-1, metavar="[TREES]")
@click.option("--cut", metavar="DATE", help="What if the flush under way were cut back on this day?")
@as_of_option
@click.option("--json", "as_json", is_flag=True, help="The plans as JSON (schema flushcast.plan/1).")
@open_garden_option
def plan_command(
    garden: OpenGarden, trees: tuple[str, ...], cut: str | None, as_of: str | None, as_json: bool
) -> None:
    """Plan the season tree by tree: its flushes, the technique at each, and until when it is open.

    \b
    flushcast plan hornbeams
    flushcast plan "quince 1" --cut "20 June"

    Later flushes stand as if each were worked as soon as it is ready; dates are middles with the
    range of four in five. The leaf decides.
    """
    from phenology.advice.garden_forecast import usual_warmth_note
    from phenology.advice.plan import Planner
    from reports.garden.past_forecasts import read_with_skill
    from reports.output.plans import plans_table
    from reports.text.forecast_text import NO_TREES
    from reports.text.lines import set_in
    from reports.text.plan_text import plan_lines
    from reports.text.progress import progress

    wanted = {tree.id for tree in garden.select(" ".join(trees))} if trees else None
    day = garden.coming_day(cut) if cut else None
    snapshot = read_with_skill(garden, as_of)
    asked = [tree for tree in snapshot.standing_trees if wanted is None or tree.id in wanted]
    planner, plans = Planner(snapshot), []
    with progress("tree") as step:
        for done, tree in enumerate(asked):
            step(done, len(asked))
            plans.append(planner.plan(tree, cut=day))
    if as_json:
        put(plans_table(plans).as_json(as_of=snapshot.as_of))
        return
    if not plans:
        put(NO_TREES)
    for plan in plans:
        for indent, line in plan_lines(plan):
            put(set_in(line, indent))
    tell_usual_warmth(usual_warmth_note(snapshot))
