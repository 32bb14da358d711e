"""May I? Yes, better wait or no; why in a sentence or two; what instead, and from when."""

from __future__ import annotations

from phenology.model.limits import Limits
from phenology.work.answer import may_i
from tests.phenology.work.test_rules import (
    ASH,
    AZALEA,
    STRONG,
    TRIDENT,
    Setting,
    a_look,
    only_looks,
    some_work,
)

SOFT = only_looks((110, "budbreak"), (164, "extending"))


def ask(operation: str, *args, **more):
    return may_i(Setting(*args, **more).case(operation))


def test_yes_on_a_good_day():
    found = ask("cutback", late=True)
    assert (found.answer, found.why, found.instead, found.when) == ("yes", (), "", "")


def test_yes_with_what_to_mind():
    found = ask("cutback", late=True, tree={"vigour": "strong, weak low branches"})
    assert found.answer == "yes" and "spare weak low branches" in found.why[0]


def test_soft_leaves_wait_until_they_are_hard():
    found = ask("cutback", change=SOFT)
    assert found.answer == "better wait" and found.when == "when the leaves are hard"
    assert found.instead == "when the leaves are hard, cut shoots back to one pair of leaves"


def test_a_tree_of_unknown_strength_is_cut_and_not_bared():
    found = ask("partial-defoliation", late=True)
    assert found.answer == "better wait" and "nobody says how strong T is" in found.why[0]
    assert found.instead == "cut shoots back to one pair of leaves, then halve the outer leaves"
    assert ask("partial-defoliation", late=True, tree=STRONG).answer == "yes"


def test_too_late_leaves_what_wakes_nothing():
    found = ask("cutback", n=270, late=True)
    assert found.answer == "no" and found.when == "once bare"
    assert found.instead.startswith("no more cutting until bare; halve the outer leaves")
    assert ask("halving", n=270, late=True).answer == "yes"


def test_heat_holds_every_cut_and_says_until_when():
    found = ask("cutback", heat={2: 36.0})
    assert (found.answer, found.when) == ("better wait", "from 16 Jun")
    assert found.instead == "leave it alone until then"


def test_what_the_tree_cannot_take_has_another_way():
    assert ask("halving", ASH).instead == "cut shoots back to one pair of leaves"
    assert ask("cutback", part="inside").instead.startswith("leave inner shoots")
    twice = ask("full-defoliation", TRIDENT, tree=STRONG, change=some_work(2020, 151, "partial-defoliation"))
    assert twice.answer == "no" and any("six weeks" in why for why in twice.why)


def test_reasons_are_two_at_most_and_all_are_kept():
    gone = Limits(away=("2020-06-20/2020-07-01",))
    bared = some_work(2020, 140, "partial-defoliation")
    found = ask("partial-defoliation", limits=gone, tree={"vigour": "weak"}, change=bared)
    assert found.answer == "no" and len(found.why) == 2 and len(found.findings) > 2


def test_bloom_led_trees_are_asked_for_their_flowers():
    found = ask("cutback", AZALEA, change=a_look(164, "extending", note="in flower"))
    assert (found.answer, found.when) == ("better wait", "as the flowers fade")
    assert ask("cutback", AZALEA, change=a_look(164, "extending", note="flowers over")).answer == "yes"


def test_nothing_is_put_off_until_a_then_that_nobody_knows():
    found = ask("full-defoliation", "Acer palmatum", change=a_look(164, "extended"), heat={2: 38.0})
    assert (found.answer, found.when, found.instead) == ("no", "", "leave it alone")


def test_what_a_weak_tree_needs_is_said_once():
    found = ask("cutback", tree={"vigour": "sick"})
    assert (found.answer, found.instead) == ("no", "leave it alone") and "let it grow" in found.why[0]


def test_roots_are_sent_to_their_season():
    found = ask("repotting")
    assert (found.answer, found.when) == ("better wait", "as buds swell in spring, before they break")
    assert found.instead == ""
