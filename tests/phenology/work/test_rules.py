"""Every rule fires where it should, keeps quiet where it should, and says why in one sentence."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pytest

from phenology.garden import Garden
from phenology.learning.garden_fit import GardenFit
from phenology.model.limits import Limits
from phenology.model.records import Aim, Look
from phenology.weather.series import DailyWeather
from phenology.weather.traces import draw_traces
from phenology.work.case import Case
from phenology.work.last_safe import Late, WorkSeason
from phenology.work.rules import RULES, check_work
from tests.phenology.gardens import ELM, Records, day, weather

MAPLE, TRIDENT, BEECH = "Acer campestre", "Acer buergerianum", "Fagus sylvatica"
PALMATE, QUINCE, ASH, BOX, OAK = (
    "Acer palmatum", "Chaenomeles speciosa", "Fraxinus ornus", "Buxus sempervirens", "Quercus suber",
)  # fmt: skip
STRONG = {"vigour": "strong"}
AZALEA, FIG, CRAB, APRICOT = "Rhododendron indicum", "Ficus microcarpa", "Malus halliana", "Prunus mume"
Change = Callable[[Records], None]


@dataclass
class Setting:
    """A tree on a day, in an early summer when almost everything may be done."""

    species: str = MAPLE
    n: int = 165
    change: Change | None = None
    limits: Limits | None = None
    tree: dict | None = None
    note: str = ""
    part: str | None = None
    heat: dict[int, float] | None = None
    cold: dict[int, float] | None = None
    late: bool = False
    planned: bool = False
    unseen: bool = False

    def case(self, operation: str) -> Case:
        r = Records()
        r.tree("T", self.species, **(self.tree or {}))
        flush = r.a_season("T", 2020, 100, 130, 150)
        if self.change:
            self.change(r)
        as_of = day(2020, self.n)
        ahead = {"bench": self.weather(as_of)}
        garden = replace(r.garden(as_of), weather=ahead, limits=self.limits or Limits())
        assert flush
        return Case(
            garden, garden.trees[0], operation, as_of, self.part, self.note,
            late=replace(late_of(garden), guess=self.unseen) if self.late else None, planned=self.planned,
        )  # fmt: skip

    def weather(self, as_of: date) -> DailyWeather:
        """The years so far and a mild forecast of ten days, with hot or cold days in it."""
        known = weather()
        until = known.index(as_of) + 11
        low, high = known.tmin[:until].copy(), known.tmax[:until].copy()
        low[-11:], high[-11:] = 12.0, 24.0
        for ahead, value in (self.heat or {}).items():
            high[-11 + ahead] = value
        for ahead, value in (self.cold or {}).items():
            low[-11 + ahead] = value
        source = np.array(["station"] * (until - 10) + ["forecast"] * 10)
        return DailyWeather(known.first_day, low, high, source)


def late_of(garden: Garden) -> Late:
    def drawn(site, season, issued):
        traces = draw_traces(garden.record_at(site), season, issued)
        return traces, traces.thermal_time()

    tree = garden.trees[0]
    return WorkSeason(garden, GardenFit(garden), drawn).late(tree.species, garden.site(tree, garden.season))


def a_look(n: int, stage: str, **more) -> Change:
    return lambda r: r.look(r.flushes[-1].id, n, stage, **more)


def some_work(season: int, n: int, operation: str) -> Change:
    return lambda r: r.work("T", season, n, operation) and None


def only_looks(*looks: tuple[int, str], **more) -> Change:
    def change(r: Records) -> None:
        r.looks.clear()
        for n, stage in looks:
            r.look(r.flushes[-1].id, n, stage, **more)

    return change


def works(*done: tuple[int, str]) -> Change:
    def change(r: Records) -> None:
        for n, operation in done:
            r.work("T", 2020, n, operation)

    return change


def second_flush(r: Records) -> None:
    cut = r.work("T", 2020, 140, "cutback")
    r.look(r.flush("T", 2020, "work", started_on=day(2020, 140), work_id=cut), 164, "hardened")


def building(r: Records) -> None:
    r.aims.append(Aim("a", "T", "building"))


# rule, operation, where it fires, part of its sentence, where it does not
CASES: list[tuple[str, str, Setting, str, Setting]] = [
    ("aim", "cutback", Setting(change=building), "T is building", Setting()),
    ("never defoliated", "partial-defoliation", Setting(BEECH), "cut back and halve", Setting(TRIDENT)),
    ("broadleaf evergreen", "full-defoliation", Setting(AZALEA), "lives on its old leaves", Setting(BEECH)),
    ("tropical fig", "full-defoliation", Setting(FIG), "only when strong",
     Setting(FIG, tree={"vigour": "strong"}, limits=Limits(warm_night_c=-30))),
    ("tropical fig", "full-defoliation",
     Setting(FIG, tree={"vigour": "strong"}, limits=Limits(warm_night_c=30)),
     "nights above 30 °C", Setting(MAPLE)),
    ("weak tree", "cutback", Setting(tree={"vigour": "newly collected"}), "T is newly collected",
     Setting(tree={"vigour": "strong"})),
    ("repotted this season", "partial-defoliation", Setting(change=some_work(2020, 75, "repotting")),
     "repotted on 15 Mar", Setting(change=some_work(2019, 75, "repotting"))),
    ("repotted this season", "full-defoliation", Setting(tree={"last_repot": date(2020, 3, 10)}),
     "repotted on 10 Mar", Setting(tree={"last_repot": date(2019, 3, 10)})),
    ("second defoliation", "partial-defoliation", Setting(change=some_work(2020, 140, "partial-defoliation")),
     "once a season", Setting(TRIDENT, change=some_work(2020, 140, "partial-defoliation"))),
    ("second defoliation", "partial-defoliation",
     Setting(TRIDENT, n=200, change=works((90, "full-defoliation"), (150, "partial-defoliation"))),
     "for the second time", Setting(TRIDENT, n=200, change=works((100, "full-defoliation")))),
    ("left on", "cutback", Setting(BEECH, change=second_flush), "it feeds the tree",
     Setting(MAPLE, change=second_flush)),
    ("left on", "halving", Setting("Lagerstroemia indica", change=second_flush), "carries its flowers",
     Setting(BEECH)),
    ("full defoliation again", "full-defoliation", Setting(change=some_work(2019, 160, "full-defoliation")),
     "every second year", Setting(change=some_work(2018, 160, "full-defoliation"))),
    ("wilting", "cutback", Setting(note="leaves wilting"), "it is wilting", Setting(note="not wilting")),
    ("wilting", "repotting", Setting(change=a_look(164, "hardened", note="a bit wilted")), "it is wilting",
     Setting(change=a_look(155, "hardened", note="a bit wilted"))),
    ("wet leaves", "cutback", Setting(CRAB, note="leaves still wet"),
     "fire blight and apple canker through wet wounds",
     Setting(MAPLE, note="leaves still wet")),
    ("wet leaves", "halving", Setting(BOX, note="dripping wet"), "box blight through wet leaves",
     Setting(BOX)),
    ("heat after defoliating", "partial-defoliation", Setting(heat={7: 36.0}), "36 °C on 20 Jun",
     Setting(heat={8: 36.0})),
    ("heat after cutting", "cutback", Setting(heat={5: 36.0}), "36 °C", Setting(heat={6: 36.0})),
    ("frost ahead", "repotting", Setting(cold={4: -2.0}), "frost ahead (-2 °C on 17 Jun)", Setting()),
    ("nobody home", "full-defoliation", Setting(limits=Limits(away=("2020-06-20/2020-07-01",))),
     "from 20 Jun to 1 Jul", Setting(limits=Limits(away=("2020-06-24/2020-07-01",)))),
    ("nobody home to water", "cutback", Setting(limits=Limits(away=("2020-06-01/2020-06-13",))),
     "nobody is home", Setting(limits=Limits(away=("2020-06-01/2020-06-12",)))),
    ("too late", "cutback", Setting(n=270, late=True), "too late to wake growth", Setting(n=215, late=True)),
    ("late", "cutback", Setting(n=235, late=True), "leave it until bare", Setting(late=True)),
    ("getting late", "cutback", Setting(n=208, late=True), "shelter soft growth", Setting(late=True)),
    ("perhaps late", "cutback", Setting(limits=Limits(weeks_before_frost=25), late=True, unseen=True, n=180),
     "a guess from the catalogue", Setting(limits=Limits(weeks_before_frost=25), late=True, n=180)),
    ("rests until spring", "cutback", Setting(n=330, late=True), "rests until spring", Setting(late=True)),
    ("rests until spring", "halving", Setting(n=330, late=True), "leave them whole", Setting(late=True)),
    ("not hard yet", "halving", Setting(change=only_looks((110, "budbreak"), (164, "extending"))),
     "last seen extending", Setting(change=only_looks((110, "budbreak"), (150, "extending")))),
    ("checked growth", "cutback", Setting(change=a_look(164, "hardened", checked=True)), "growth was checked",
     Setting()),
    ("not growing strongly", "cutback", Setting(change=some_work(2020, 160, "repotting")), "growing strongly",
     Setting(change=some_work(2020, 75, "repotting"))),
    ("evergreen window", "cutback", Setting("Quercus suber", change=only_looks((160, "extending"))),
     "spring flush is hard", Setting("Quercus suber")),
    ("grown for flower", "cutback", Setting(APRICOT, n=220, late=True), "already set", Setting(MAPLE, n=220)),
    ("grown for flower", "cutback", Setting("Punica granatum", n=220), "this year's shoots", Setting(MAPLE)),
    ("grown for fruit", "cutback", Setting(CRAB), "this year's fruit", Setting(MAPLE)),
    ("grown for fruit", "cutback", Setting(MAPLE, tree={"grown_for": "fruit"}), "this year's fruit",
     Setting(CRAB, tree={"grown_for": "leaf"})),
    ("flower buds set", "cutback", Setting(AZALEA, n=235, late=True), "right after bloom",
     Setting(AZALEA, late=True)),
    ("shaped at bloom's end", "cutback", Setting(AZALEA), "no look says that they have",
     Setting(AZALEA, change=a_look(164, "extending", note="flowers over"))),
    ("shaped at bloom's end", "cutback", Setting(AZALEA, change=a_look(164, "extending",
     note="in full bloom")),
     "it is in flower", Setting(MAPLE)),
    ("shaped at bloom's end", "cutback", Setting("Camellia sasanqua"), "before spring growth",
     Setting("Camellia sasanqua", n=80, change=only_looks((79, "swelling")))),
    ("halved before cut", "cutback", Setting(change=some_work(2020, 160, "halving")), "cut back first",
     Setting()),
    ("halved already", "halving", Setting(change=some_work(2020, 160, "halving")), "halved on 8 Jun already",
     Setting()),
    ("pinching is for soft tips", "pinching", Setting(PALMATE), "these have stopped",
     Setting(PALMATE, change=only_looks((164, "extending")))),
    ("pinching is for soft tips", "pinching", Setting(PALMATE, n=102, change=only_looks((101, "budbreak"))),
     "they do not yet", Setting(PALMATE, change=only_looks((164, "extending")))),
    ("pinching is for soft tips", "pinching", Setting("Corylus avellana"), "have stopped", Setting(ELM)),
    ("not growing strongly", "feeding", Setting(change=some_work(2020, 160, "repotting")), "growing strongly",
     Setting()),
    ("not pinched", "pinching", Setting(ELM), "let shoots extend", Setting(PALMATE)),
    ("not pinched", "pinching", Setting(AZALEA), "as the flowers fade", Setting(BEECH)),
    ("not halved", "halving", Setting("Ginkgo biloba"), "thin crowded shoots", Setting(MAPLE)),
    ("not halved", "halving", Setting(ASH), "are compound", Setting(PALMATE)),
    ("not halved", "halving", Setting(BOX), "are small", Setting(BEECH)),
    ("inner shoots", "cutback", Setting(part="inside"), "stay whole", Setting(part="top")),
    ("inner shoots", "halving", Setting(part="inside"), "live on little light", Setting()),
    ("weak zone", "cutback", Setting(part="bottom", tree={"vigour": "strong, low branches weak"}),
     "every leaf stays", Setting(part="top", tree={"vigour": "strong, low branches weak"})),
    ("strong trees only", "full-defoliation", Setting(TRIDENT), "only where a tree is strong",
     Setting(TRIDENT, tree=STRONG)),
    ("strong trees only", "partial-defoliation", Setting(TRIDENT, change=some_work(2020, 100,
     "partial-defoliation")),
     "a second time", Setting(TRIDENT, change=some_work(2020, 100, "partial-defoliation"), tree=STRONG)),
    ("strength unsaid", "partial-defoliation", Setting(), "nobody says how strong T is",
     Setting(tree=STRONG)),
    ("full defoliation stood badly", "full-defoliation", Setting(ELM, tree=STRONG),
     "bare the outer canopy at most",
     Setting(TRIDENT, tree=STRONG)),
    ("bared lately", "full-defoliation", Setting(TRIDENT, tree=STRONG, change=some_work(2020, 151,
     "partial-defoliation")),
     "not six weeks ago", Setting(TRIDENT, tree=STRONG, change=some_work(2020, 110, "partial-defoliation"))),
    ("basal leaf", "basal-leaf", Setting(), "very full", Setting()),
    ("repotting season", "repotting", Setting(), "buds have broken",
     Setting(n=85, change=only_looks((80, "swelling")))),
    ("repotting season", "repotting", Setting(n=110, change=only_looks((80, "swelling"))), "look first",
     Setting(n=110, change=only_looks((100, "swelling")))),
    ("repotting season", "repotting", Setting(n=110, change=only_looks()), "look first",
     Setting(n=110, change=only_looks((109, "swelling")))),
    ("repotting season", "repotting", Setting(QUINCE, n=70, change=only_looks((69, "swelling"))),
     "crown gall",
     Setting(QUINCE, n=262)),
    ("repotting season", "repotting", Setting(AZALEA, change=a_look(164, "extending", note="in flower")),
     "right after bloom", Setting(AZALEA, change=a_look(164, "extending", note="flowers over"))),
    ("repotting season", "repotting", Setting(FIG, limits=Limits(warm_night_c=30)), "rot in cold soil",
     Setting(FIG, limits=Limits(warm_night_c=5))),
    ("pruning season", "pruning", Setting(), "until the tree is bare",
     Setting(n=340, change=a_look(335, "bare"))),
    ("pruning season", "pruning", Setting(n=45, change=only_looks((44, "dormant"))), "bleed once sap rises",
     Setting(ELM, n=45, change=only_looks((44, "dormant")))),
    ("pruning season", "pruning", Setting("Prunus incisa", n=30, change=only_looks((29, "dormant"))),
     "silver leaf",
     Setting("Prunus incisa", n=190)),
    ("pruning season", "pruning", Setting("Prunus incisa", n=20, change=only_looks()), "right after bloom",
     Setting("Prunus incisa", n=70, change=only_looks())),
    ("pruning season", "thinning", Setting("Prunus armeniaca", n=270), "silver leaf", Setting(MAPLE, n=270)),
    ("low branches", "cutback", Setting(part="bottom"), "two to three weeks", Setting(part="top")),
    ("low branches", "cutback", Setting(tree={"vigour": "strong, weak low branches"}), "spare weak low",
     Setting(AZALEA, part="bottom")),
    ("weak tree", "pruning", Setting(n=340, change=a_look(335, "bare"), tree={"vigour": "sick"}),
     "feed it only as it grows", Setting(n=340, change=a_look(335, "bare"))),
    ("roots rest", "repotting", Setting(change=some_work(2020, 75, "repotting")), "not cut twice",
     Setting(change=some_work(2019, 75, "repotting"))),
    ("roots rest", "repotting", Setting(tree={"vigour": "weak"}), "its roots stay whole",
     Setting(tree=STRONG)),
    ("weak tree", "cutback", Setting(tree={"vigour": "weak"}), "T is weak",
     Setting(tree={"vigour": "strong apex, weak inside"})),
    ("repotted this season", "pinching", Setting(PALMATE, change=some_work(2020, 75, "repotting")),
     "is not pinched",
     Setting(PALMATE)),
]  # fmt: skip


def found(case: Case, rule: str) -> list[str]:
    return [f.sentence for f in check_work(case) if f.rule == rule]


@pytest.mark.parametrize("rule, operation, there, sentence, elsewhere", CASES, ids=lambda v: str(v)[:24])
def test_each_rule_fires_where_it_should(rule, operation, there, sentence, elsewhere):
    (said,) = found(there.case(operation), rule)
    assert sentence in said
    if rule != "basal leaf":  # that one is always said
        assert found(elsewhere.case(operation), rule) == []


def test_every_rule_has_a_case_a_name_of_its_own_and_a_source():
    assert {rule for rule, *_ in CASES} == {rule.name for rule in RULES}
    assert len({rule.name for rule in RULES}) == len(RULES)
    for rule in RULES:
        assert "no source" in rule.provenance or "unverified" in rule.provenance
        assert rule.operations


def test_sentences_are_one_sentence_without_a_full_stop():
    for rule, operation, there, _, _ in CASES:
        for sentence in found(there.case(operation), rule):
            assert 20 < len(sentence) < 220 and not sentence.endswith(".") and ". " not in sentence


def test_what_forbids_comes_first():
    case = Setting(CRAB, change=building).case("cutback")
    findings = check_work(case)
    assert [f.forbids for f in findings] == sorted((f.forbids for f in findings), reverse=True)
    assert {f.rule for f in findings} >= {"aim", "grown for fruit"}


def test_a_good_day_has_nothing_against_it():
    assert check_work(Setting(late=True).case("cutback")) == []
    assert check_work(Setting(TRIDENT, late=True, tree=STRONG).case("partial-defoliation")) == []
    assert (
        check_work(
            Setting(late=True, tree={"vigour": "strong apex, weak inside"}).case("partial-defoliation")
        )
        == []
    )


def test_halving_in_the_days_after_a_cut_belongs_to_that_cut():
    """The flush that the cut woke is soft, and is not what is halved."""

    def cut_then_woke(days_ago: int) -> Change:
        def change(r: Records) -> None:
            cut = r.work("T", 2020, 165 - days_ago, "cutback")
            woken = r.flush("T", 2020, "work", started_on=day(2020, 165 - days_ago), work_id=cut)
            r.look(woken, 164, "budbreak")

        return change

    assert check_work(Setting(change=cut_then_woke(10)).case("halving")) == []

    def cut_and_halved(r: Records) -> None:
        cut_then_woke(14)(r)
        r.work("T", 2020, 153, "halving")

    assert found(Setting(change=cut_and_halved).case("cutback"), "halved before cut") == []
    (asks,) = check_work(Setting(change=cut_then_woke(20)).case("halving"))
    assert (asks.rule, asks.answer, asks.when) == ("not hard yet", "wait", "when the leaves are hard")


def test_asked_ahead_the_day_itself_says_nothing():
    wilting = Setting(note="wilting", change=only_looks((164, "extending")))
    assert {f.rule for f in check_work(wilting.case("cutback"))} == {"wilting", "not hard yet"}
    assert check_work(replace(wilting, planned=True).case("cutback")) == []


def test_how_late_it_is_is_told_by_degrees():
    """Odds in tenths and a grade; never "90 % where 9 in 10 is asked"."""
    told = [
        (f.answer, f.sentence)
        for n in (208, 215, 235, 270)
        for f in check_work(Setting(n=n, late=True).case("cutback"))
    ]
    assert [answer for answer, _ in told] == ["mind", "wait", "wait", "no"]
    assert [sentence.split(":")[0].split(" to wake")[0] for _, sentence in told] == [
        "getting late", "late", "risky", "too late",
    ]  # fmt: skip
    assert all("%" not in sentence and "is asked" not in sentence for _, sentence in told)
    rests = {
        OAK: "until spring",
        "Prunus armeniaca": "until next summer",
        "Prunus mume": "until it has bloomed",
    }
    for species, until in rests.items():  # silver leaf enters the wounds of a bare stone fruit
        (said,) = found(Setting(species, n=270, late=True).case("cutback"), "too late")
        assert said.endswith(f"leave it {until}")


def test_a_guess_forbids_nothing_before_midsummer_and_everything_as_usual_after():
    early = Setting(n=180, late=True, limits=Limits(weeks_before_frost=25))
    seen, unseen = (check_work(replace(early, unseen=u).case("cutback")) for u in (False, True))
    assert any(f.forbids for f in seen) and not any(f.forbids for f in unseen)
    assert any(f.forbids for f in check_work(Setting(n=270, late=True, unseen=True).case("cutback")))


def test_a_calendar_limit_is_named_where_the_odds_are_good():
    early = Setting(n=180, late=True, limits=Limits(weeks_before_frost=25))
    (said,) = (f.sentence for f in check_work(early.case("cutback")) if f.forbids)
    assert "25 weeks before the usual first frost" in said and "odds" not in said
    # nor is it "too late: about 7 in 10 that it ripens": the odds do not call that too late
    (said,) = found(replace(early, n=235).case("cutback"), "too late")
    assert "25 weeks before" in said and " in 10" not in said


def test_halving_alone_wakes_nothing_and_is_never_too_late():
    assert found(Setting(n=235, late=True).case("halving"), "too late") == []


def test_looks_that_do_not_belong_to_the_tree_do_not_speak():
    case = Setting().case("cutback")
    other = Look("x", "other", "f", "hardened", "", case.day, case.day, note="wilting")
    garden = replace(case.garden, looks=[*case.garden.looks, other])
    assert found(replace(case, garden=garden), "wilting") == []


def test_elms_stand_one_defoliation():
    assert check_work(Setting(ELM, tree=STRONG).case("partial-defoliation")) == []
    bared = Setting(ELM, tree=STRONG, change=some_work(2020, 100, "partial-defoliation"))
    assert {f.rule for f in check_work(bared.case("partial-defoliation"))} == {"second defoliation"}
