"""What a tree itself says against work: its aim, species, strength, zones, roots, flowers and wounds."""

from __future__ import annotations

from dataclasses import replace

from phenology.language.date_style import short_date
from phenology.language.degrees import degrees
from phenology.work.case import WET, WILTING, Case
from phenology.work.season_of_work import in_words, is_open
from phenology.work.technique import BARED_AGAIN, MOST_BARED

SPARE = "spare weak low branches, or do them two to three weeks after the rest"
BUDS_KEPT = 14  # days for which buds seen closed or swelling are taken to be so still (ours)
WHY_SEASON = {
    "bare": "its lines are seen then, and it rests",
    "leaf-fall": "cuts bleed once sap rises",
    "bud-swell": "it heals at once, and cut wood does not freeze",
    "after-bloom": "later cuts take next year's flowers",
    "summer": "silver leaf enters the wounds of autumn and winter",
    "warm-nights": "it heals while it grows",
}
WHY_ROOTS = {
    "autumn": "crown gall enters cut roots in warming soil",
    "after-bloom": "before that it spends itself on its flowers",
    "warm-nights": "cut roots rot in cold soil",
    "bud-swell": "cut roots grow again at once then",
}


def aim(case: Case) -> str | None:
    """Only trees being refined are shaped."""
    meant = case.garden.aim_of(case.tree)
    if meant == "refining":
        return None
    return f"{case.label} is {meant}: only trees being refined are cut back, pinched, halved or defoliated"


def never_defoliated(case: Case) -> str | None:
    """Species that are not defoliated."""
    s = case.species
    if s.defoliation != "never" or is_evergreen_fig(case) or s.habit == "evergreen":
        return None
    halves = " and halve the outer leaves" if s.takes("halve") else " when the leaves are hard"
    return f"{s.name} is never defoliated; in spring cut back{halves} instead"


def broadleaf_evergreen(case: Case) -> str | None:
    """Evergreens live on their old leaves."""
    s = case.species
    if s.habit != "evergreen" or s.defoliation != "never" or is_evergreen_fig(case):
        return None
    return f"{s.name} is a broadleaf evergreen and lives on its old leaves: it is not defoliated"


def is_evergreen_fig(case: Case) -> bool:
    """Whether the tree is one of the tropical figs."""
    return case.species.latin.startswith("Ficus ") and case.species.habit == "evergreen"


def tropical_fig(case: Case) -> str | None:
    """Figs are bared only when strong, in warm nights."""
    if not is_evergreen_fig(case):
        return None
    least, nights = case.garden.limits.warm_night_c, case.nights()
    if not case.strong:
        return f"a tropical fig is defoliated only when strong, and {case.label} is not marked so"
    if nights is not None and nights < least:
        were = f"they were {degrees(round(nights))}"
        return f"a tropical fig is defoliated only with nights above {degrees(least)}; {were}"
    return None


def full_stood_badly(case: Case) -> str | None:
    """Most species that stand outer defoliation stand the loss of all leaves badly."""
    s = case.species
    if s.takes("full-defoliation") or s.defoliation == "never":
        return None
    return f"{s.name} stands the loss of all its leaves badly: bare the outer canopy at most"


def strength(case: Case) -> str | None:
    """All leaves at once, or a second time, are taken only from a tree that is called strong."""
    again = bool(case.done("partial-defoliation", "full-defoliation"))
    asked = case.operation == "full-defoliation" or (again and case.species.defoliation == "repeat")
    if not asked or case.strong or case.weak or is_evergreen_fig(case):
        return None
    what = "all leaves are taken" if case.operation == "full-defoliation" else "it is bared a second time"
    return f"{what} only where a tree is strong, and {case.label} is not marked so"


def strength_unsaid(case: Case) -> str | None:
    """The outer canopy is bared on a strong tree; where nobody says that it is, look first."""
    asked = case.species.needs.get("outer-defoliation", ())
    if "strong" not in asked or case.vigour.of("outer") is not None or strength(case):
        return None
    return f"the outer canopy is bared only on a strong tree, and nobody says how strong {case.label} is"


def weak(case: Case) -> str | None:
    """Weak trees are left to grow."""
    if not case.weak:
        return None
    return f"{case.label} is {case.tree.vigour}: let it grow first, and feed it only as it grows"


def roots_rest(case: Case) -> str | None:
    """The roots of a weak tree are what it lives on; those just cut have to grow again."""
    if case.weak:
        return f"{case.label} is {case.tree.vigour}: its roots stay whole, unless the soil is what ails it"
    if case.repotted_on is None:
        return None
    return f"repotted on {short_date(case.repotted_on)} already: roots are not cut twice in a season"


def inside(case: Case) -> str | None:
    """Inner shoots and leaves stay whole."""
    if case.zone != "inside":
        return None
    return (
        "inner shoots and leaves stay whole: they live on little light, and are what the work outside is for"
    )


def low_branches(case: Case) -> str | None:
    """Low branches come later; in trees that lead from their base they are the strong ones."""
    if case.species.leads == "base":
        return None
    if case.zone == "low" and case.vigour.zones.get("low") != "weak":
        return "weak low branches may be left alone, or done two to three weeks after the rest"
    if case.zone is None and case.vigour.zones.get("low") == "weak":
        return SPARE
    return None


def weak_low(case: Case) -> str | None:
    """Low branches that are called weak are left alone."""
    if case.zone != "low" or case.vigour.zones.get("low") != "weak":
        return None
    return "low branches that are weak gain strength only where every leaf stays on them"


def repotted(case: Case) -> str | None:
    """Not in the season of repotting, where the technique asks so."""
    technique = {"pinching": "pinch", "partial-defoliation": "outer-defoliation"}.get(
        case.operation, case.operation
    )
    if case.repotted_on is None or "not-repotted" not in case.species.needs.get(technique, ()):
        return None
    done = "pinched" if case.operation == "pinching" else "defoliated"
    return f"repotted on {short_date(case.repotted_on)}: a tree is not {done} in the season of its repotting"


def not_growing(case: Case) -> str | None:
    """After repotting, growth is seen first."""
    if case.repotted_on is None or case.grown_since_repotting:
        return None
    return f"repotted on {short_date(case.repotted_on)}, and no look shows it growing strongly since"


def second_defoliation(case: Case) -> str | None:
    """Once a season is what most species stand, and no species a third time."""
    before = case.done("partial-defoliation", "full-defoliation")
    if len(before) >= MOST_BARED and case.species.defoliation == "repeat":
        return f"defoliated on {short_date(before[-1].latest)} for the second time: twice is what it stands"
    if not before or case.species.defoliation == "repeat":
        return None
    return f"defoliated on {short_date(before[-1].latest)} already: once a season is what it stands"


def bared_lately(case: Case) -> str | None:
    """Leaves that answered one baring are not taken by the next within weeks."""
    before = case.done("partial-defoliation", "full-defoliation")
    if not before or (case.day - before[-1].latest).days >= BARED_AGAIN:
        return None
    when = short_date(before[-1].latest)
    return f"bared on {when}, not six weeks ago: it has not been paid back for those leaves yet"


def full_again(case: Case) -> str | None:
    """All leaves at most every second year."""
    if not case.done("full-defoliation", seasons_ago=1):
        return None
    return "fully defoliated last season: at most every second year"


def not_halved(case: Case) -> str | None:
    """Small, compound and needle-like leaves are not halved, nor those of species that brown at the cut."""
    s = case.species
    if s.takes("halve") or s.practice == "undescribed":
        return None
    kind = {"compound": "are compound", "small": "are small", "needle-like": "are needles"}.get(s.leaf_kind)
    why = f"leaves of {s.name} {kind} and are" if kind else f"leaves of {s.name} are"
    return f"{why} not halved: for light, thin crowded shoots to two at a fork"


def not_pinched(case: Case) -> str | None:
    """Only some species are pinched."""
    s = case.species
    if s.takes("pinch") or s.practice == "undescribed":
        return None
    instead = "shape it as the flowers fade" if s.bloom_led else "let shoots extend, and cut back when hard"
    return f"{s.name} is not pinched: {instead}"


def wilting(case: Case) -> str | None:
    """A thirsty tree is not cut."""
    return "it is wilting: water, shade, and cut another day" if case.says(WILTING) else None


def wet_leaves(case: Case) -> str | None:
    """Wounds cut in wet weather let in what the genus gets."""
    s = case.species
    if not (s.prone and case.says(WET)):
        return None
    ways = {way: s.lets_in(way) for way in ("wet wounds", "wet leaves")}
    found = [f"{' and '.join(diseases)} through {way}" for way, diseases in ways.items() if diseases]
    return f"{s.name} takes {' and '.join(found) or 'disease through wet wounds'}: cut in a dry spell"


def flower(case: Case) -> str | None:
    """What is cut cannot bloom."""
    if case.grown_for != "flower" or case.species.bloom_led:
        return None
    if case.species.blooms == "summer":
        return "grown for flower, on this year's shoots: what is cut now flowers late or not at all"
    if case.buds_set:
        return "a cut now removes flower buds already set for next spring"
    return "grown for flower: what is cut now cannot set flower buds; keep the short spurs"


def fruit(case: Case) -> str | None:
    """What is cut bears no fruit."""
    if case.grown_for != "fruit":
        return None
    return "grown for fruit: a cut now takes this year's fruit with it; spare the shoots that carry it"


def buds_set(case: Case) -> str | None:
    """Trees shaped at bloom's end are left alone once next year's buds are set."""
    s = case.species
    if not s.bloom_led or not case.buds_set:
        return None
    autumn = s.blooms == "autumn"
    when = after_bloom(case) if autumn else "right after bloom"
    whose = "this autumn's" if autumn else "next year's"
    return f"{s.name} is shaped {when}; by now a cut removes {whose} flower buds"


def before_bloom(case: Case) -> str | None:
    """Trees shaped at bloom's end wait for it."""
    s = case.species
    if not s.bloom_led or case.buds_set or case.flowers == "faded":
        return None
    if s.blooms == "autumn":
        grows = "what has begun to grow carries this autumn's flowers"
        return f"{s.name} is shaped before spring growth: {grows}" if case.shown("budbreak") else None
    seen = "it is in flower" if case.flowers == "flowering" else "no look says that they have"
    return f"{s.name} is shaped as its flowers fade, and {seen}"


def after_bloom(case: Case) -> str:
    """From when a tree that is shaped at bloom's end is shaped."""
    if case.species.blooms == "autumn":
        return "as hard frost ends, before spring growth"
    return "as next year's flowers fade" if case.buds_set else "as the flowers fade"


def roots_season(case: Case) -> str | None:
    """Roots are cut in the season of the genus."""
    s, now = case.species, case.year
    seen = case.history.last_look if case.history else None
    if not case.shown("budbreak") and seen is not None and case.t - seen > BUDS_KEPT:
        now = replace(now, stage=None)  # buds that were closed then may have broken since
    if is_open(s.repot, now) is not False:
        unseen = s.repot == ("bud-swell",) and now.stage is None and now.in_leaf is not False
        return "no look of these days says whether its buds have broken: look first" if unseen else None
    if s.repot == ("bud-swell",) and case.shown("budbreak") and not case.shown("turning"):
        return "buds have broken: the window for repotting was while they swelled; keep the roots whole now"
    return f"{s.name} is repotted {in_words(s.repot)}: {WHY_ROOTS.get(s.repot[0], 'roots answer best then')}"


def wood_season(case: Case) -> str | None:
    """Wood is cut in the season of the genus; crowded shoots too, where silver leaf enters the wounds."""
    s = case.species
    if case.operation == "thinning" and "silver-leaf" not in s.diseases:
        return None
    if is_open(s.prune, case.year) is not False:
        return None
    if s.habit == "deciduous" and s.prune[0] in ("bare", "leaf-fall") and case.shown("budbreak"):
        return "structural pruning waits until the tree is bare, when its lines can be seen and it rests"
    return f"{s.name} is pruned {in_words(s.prune)}: {WHY_SEASON.get(s.prune[-1], 'it heals best then')}"
