"""The catalogue of species: every row complete, every value sourced, a garden's values over it."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from importlib import resources

import numpy as np
import pytest

from phenology.heat.clocks import CLOCKS, REFERENCE_C
from phenology.model.errors import InputError
from phenology.species import catalogue as catalogue_module
from phenology.species.catalogue import ALLOWED, STEPS, UNKNOWN_GROUP, load_species, neutral_species
from phenology.species.fields import FIELDS, KINDS, source_texts

SHIPPED = load_species()
TABLES = tomllib.loads(
    resources.files("phenology.species").joinpath("species.toml").read_text(encoding="utf-8")
)
HORNBEAM = "Carpinus betulus"
ROSE_FAMILY = {"Malus", "Crataegus", "Prunus", "Chaenomeles", "Pseudocydonia", "Cotoneaster", "Pyracantha"}

each_species = pytest.mark.parametrize("species", SHIPPED.values(), ids=SHIPPED.keys())


@each_species
def test_every_row_is_complete(species):
    assert species.names and len(species.latin.split()) >= 2
    for field, allowed in ALLOWED.items():
        assert getattr(species, field) in allowed
    low, high = species.leaves
    assert 2 <= low < high <= 12
    assert species.group in TABLES["groups"] and species.group != UNKNOWN_GROUP
    assert species.overridden == ()


@each_species
def test_every_value_says_where_it_comes_from(species):
    assert set(species.provenance) == set(FIELDS)
    sources = list(species.provenance.values())
    for step in STEPS:
        prior = species.priors[step]
        sources += [prior.provenance, prior.log_sd_provenance]
        assert prior.why
    assert all(source.startswith(KINDS) for source in sources)


@each_species
def test_every_prior_is_wide_enough_to_be_honest(species):
    assert set(species.priors) == set(STEPS)
    for prior in species.priors.values():
        assert 0.3 <= prior.log_sd <= 0.6


def test_waits_are_believed_at_the_temperature_that_clocks_are_scaled_at():
    """The catalogue's arithmetic is at 18 degC, and a clock counts a day there as one."""
    assert REFERENCE_C == 18.0
    steady = np.array([REFERENCE_C])
    assert all(clock.rates(steady, steady)[0] == pytest.approx(1.0) for clock in CLOCKS)


def test_there_are_enough_of_each_kind():
    arrangement = [s.arrangement for s in SHIPPED.values()]
    assert len(SHIPPED) >= 30
    assert arrangement.count("alternate") > 2 * arrangement.count("opposite") >= 10
    assert sum(s.growth == "fixed" for s in SHIPPED.values()) >= 5
    assert sum(s.habit == "evergreen" for s in SHIPPED.values()) >= 6


def test_only_trident_maple_is_shipped_as_repeatable():
    assert [s.latin for s in SHIPPED.values() if s.defoliation == "repeat"] == ["Acer buergerianum"]


def test_evergreens_and_fixed_growers_are_not_defoliated_unless_a_garden_says_so():
    held = [s for s in SHIPPED.values() if s.habit == "evergreen" or s.growth == "fixed"]
    assert len(held) > 10 and {s.defoliation for s in held} == {"never"}


def test_cautions_by_kin():
    genus = {latin: latin.split()[0] for latin in SHIPPED}
    assert {s.sap for s in SHIPPED.values() if genus[s.latin] in ("Toxicodendron", "Rhus")} == {"severe"}
    assert {s.sap for s in SHIPPED.values() if genus[s.latin] in ("Ficus", "Morus", "Triadica")} == {
        "irritant"
    }
    assert {s.prone for s in SHIPPED.values() if genus[s.latin] in ROSE_FAMILY} == {True}
    azalea, camellia = SHIPPED["Rhododendron indicum"], SHIPPED["Camellia japonica"]
    assert azalea.woken_by == camellia.woken_by == "bloom"
    autumn = SHIPPED["Camellia sasanqua"]
    assert (autumn.blooms, autumn.woken_by, autumn.repot) == ("autumn", "season", ("bud-swell",))
    assert "Old leaves drop as the new flush opens; that is not illness." in azalea.cautions
    assert any("rash" in sentence for sentence in SHIPPED["Toxicodendron succedaneum"].cautions)
    assert any("never assumed" in sentence for sentence in SHIPPED["Fagus crenata"].cautions)
    assert SHIPPED["Zelkova serrata"].cautions == ()


def test_unknown_species_get_wide_priors_and_no_defoliation():
    masked = neutral_species("Species B")
    assert masked.latin == masked.name == "Species B"
    assert masked.defoliation == "never" and masked.group == UNKNOWN_GROUP
    for step in STEPS:
        temperate = [SHIPPED[latin].priors[step] for latin in (HORNBEAM, "Ulmus minor", "Quercus robur")]
        assert masked.priors[step].log_sd > max(p.log_sd for p in temperate)
        assert min(p.days for p in temperate) <= masked.priors[step].days <= max(p.days for p in temperate)
    assert set(masked.provenance) == set(FIELDS)


def test_a_step_that_is_not_there_is_refused():
    assert SHIPPED[HORNBEAM].prior("budbreak", "extended") is SHIPPED[HORNBEAM].priors["budbreak_extended"]
    with pytest.raises(InputError, match="no step from budbreak to hardened; the steps are start_budbreak"):
        SHIPPED[HORNBEAM].prior("budbreak", "hardened")


# ------------------------------------------------------------------------------------------- plausibility
# Spring means rising evenly from 9 to 17 degC over ten weeks, an invented mild spring.


def days_at(mean_c, prior, base=5.0):
    """Days of a step at another constant temperature, by heat above a base."""
    return prior.days * (REFERENCE_C - base) / (mean_c - base)


@pytest.mark.parametrize("latin", ["Ulmus minor", HORNBEAM, "Acer buergerianum", "Quercus robur"])
def test_a_first_flush_is_hard_six_to_eleven_weeks_after_bud_break(latin):
    wanted = sum(SHIPPED[latin].prior(*step).days * 13.0 for step in
                 (("budbreak", "extended"), ("extended", "hardened")))  # fmt: skip
    heat = np.cumsum(np.interp(np.arange(120), [0, 70], [9.0, 17.0]) - 5.0)
    assert 6 * 7 <= np.searchsorted(heat, wanted) + 1 <= 11 * 7


@pytest.mark.parametrize("latin", ["Ulmus minor", HORNBEAM])
def test_a_second_flush_takes_the_trade_s_60_to_75_days_at_15_to_20_degrees(latin):
    """600 to 1125 degC d above 5 degC: common practice, no source."""
    species = SHIPPED[latin]
    steps = (("work", "budbreak"), ("budbreak", "extended"), ("extended", "hardened"))
    heat = sum(species.prior(*step).days for step in steps) * 13.0
    assert 600 <= heat <= 1125
    assert 55 <= sum(days_at(17.5, species.prior(*step)) for step in steps) <= 80


@each_species
def test_new_shoots_come_two_to_five_weeks_after_work_in_warmth(species):
    """140 to 490 degC d above 8 degC: common practice, no source; subtropicals are told at 25 degC."""
    prior = species.prior("work", "budbreak")
    warm = species.group == "subtropical"
    days = days_at(25.0, prior) if warm else prior.days
    assert 140 <= days * ((25.0 if warm else 18.0) - 8.0) <= 490


@each_species
def test_four_to_eight_leaves_come_out_at_published_leaf_rates(species):
    """Between 3 leaf intervals of Viburnum (51 degC d above 8) and 7 of Hibiscus (87 above 9.8)."""
    assert 3 * 51 / (18 - 8) <= species.prior("budbreak", "extended").days <= 7 * 87 / (18 - 9.8)


def test_quick_growers_come_before_slow_ones():
    chain = {group: sum(_days(group, step) for step in STEPS[1:]) for group in TABLES["groups"]}
    assert chain["quick"] < chain["steady"] < chain["preformed"] < chain["evergreen"]


def _days(group, step):
    return TABLES["groups"][group]["priors"][step]["days"]


# ------------------------------------------------------------------------------------------- garden values


def test_a_garden_s_values_replace_the_shipped_ones_and_are_shown():
    own = load_species({HORNBEAM: {"leaves": [5, 9], "priors": {"extended_hardened": {"days": 30}}}})[
        HORNBEAM
    ]
    shipped = SHIPPED[HORNBEAM]
    assert own.leaves == (5, 9) and own.overridden == ("leaves", "priors")
    assert own.provenance["leaves"] == "this garden's own setting"
    assert own.provenance["growth"] == shipped.provenance["growth"]
    hard = own.prior("extended", "hardened")
    assert (hard.days, hard.provenance, hard.why) == (30.0, "this garden's own setting", "")
    assert hard.log_sd == shipped.prior("extended", "hardened").log_sd
    assert own.prior("budbreak", "extended") == shipped.prior("budbreak", "extended")
    assert load_species()[HORNBEAM] == shipped


def test_a_wider_guess_leaves_the_days_where_they_came_from():
    own = load_species({HORNBEAM: {"priors": {"start->budbreak": {"log_sd": 0.8}}}})[HORNBEAM]
    shipped = SHIPPED[HORNBEAM].prior("start", "budbreak")
    prior = own.prior("start", "budbreak")
    assert (prior.days, prior.provenance, prior.why) == (shipped.days, shipped.provenance, shipped.why)
    assert (prior.log_sd, prior.log_sd_provenance) == (0.8, "this garden's own setting")


def test_a_species_may_have_a_shipped_prior_of_its_own_until_a_garden_moves_it():
    ume = SHIPPED["Prunus mume"]
    assert ume.prior("start", "budbreak").days < SHIPPED["Ulmus minor"].prior("start", "budbreak").days
    moved = load_species({"Prunus mume": {"group": "steady"}})["Prunus mume"]
    assert moved.priors == SHIPPED[HORNBEAM].priors


def test_a_garden_may_add_a_species():
    added = load_species({"Corylus avellana": {"names": ["hazel"], "group": "quick"}})
    hazel = added["Corylus avellana"]
    assert len(added) == len(SHIPPED) + 1
    assert hazel.overridden == ("names", "group") and hazel.defoliation == "never"
    assert hazel.priors == SHIPPED["Ulmus minor"].priors
    assert hazel.provenance["names"] == "this garden's own setting"
    assert hazel.provenance["leaves"].startswith("common practice, no source")


def test_capitals_of_a_latin_name_do_not_make_another_species():
    own = load_species({"carpinus Betulus": {"prone": True}})
    assert len(own) == len(SHIPPED) and own[HORNBEAM].prone


def test_a_likeness_is_another_species_only_when_it_is_named():
    with pytest.raises(
        InputError, match=r"no species 'Carpinus betullus'.*there is Carpinus betulus; write that"
    ):
        load_species({"Carpinus betullus": {"leaves": [5, 8]}})
    assert "Ulmus minora" in load_species({"Ulmus minora": {"names": ["lesser elm"]}})


def test_a_common_name_is_no_heading():
    with pytest.raises(InputError, match=r"'Olives' is a common name; write \[species.\"Olea europaea\"\]"):
        load_species({"Olives": {"leaves": [5, 8]}})


@pytest.mark.parametrize(
    "changes, message",
    [
        ({"leafs": [4, 8]}, "no field 'leafs'; the fields are names, leaves"),
        ({"from_leaves": "trade"}, "no field 'from_leaves'"),
        ({"growth": "fast"}, "growth is 'fast'; it may be free, fixed"),
        (
            {"habit": ["evergreen"]},
            r"habit is \['evergreen'\]; it may be deciduous, evergreen, semi-evergreen",
        ),
        ({"defoliation": "twice"}, "defoliation is 'twice'; it may be never, once, repeat"),
        ({"group": "lazy"}, "group is 'lazy'; it may be quick, steady"),
        ({"group": []}, r"group is \[\]; it may be quick"),
        ({"leaves": [8, 4]}, r"leaves is \[8, 4\]; write two counts, low and high, such as \[4, 8\]"),
        ({"leaves": ["4", 8]}, "write two counts"),
        ({"leaves": [4.5, 8]}, "write two counts"),
        ({"leaves": [4, float("inf")]}, "write two counts"),
        ({"leaves": 6}, "write two counts"),
        ({"names": "hornbeam"}, "names is 'hornbeam'; write a list"),
        ({"prone": "no"}, "prone is 'no'; it may be true or false"),
        ({"note": 3}, "note is 3; write it as text"),
        ({"priors": 12}, "priors is 12; write a table"),
        (
            {"priors": {"budbreak_bare": {"days": 9}}},
            "no prior 'budbreak_bare'; the steps are start_budbreak",
        ),
        ({"priors": {"work_budbreak": 9}}, "prior work_budbreak is 9; write a table"),
        ({"priors": {"work_budbreak": {"day": 9}}}, "prior work_budbreak: there is no field 'day'"),
        ({"priors": {"work_budbreak": {"days": "9"}}}, "days is '9'; write days at 18 °C"),
        ({"priors": {"work_budbreak": {"days": 0}}}, "days is 0; write days at 18 °C, above 0"),
        ({"priors": {"work_budbreak": {"days": float("nan")}}}, "days is nan"),
        ({"priors": {"work_budbreak": {"days": True}}}, "days is True"),
        ({"priors": {"work_budbreak": {"log_sd": 3}}}, "log_sd is 3; write a number above 0 and at most 2"),
    ],
)
def test_a_value_that_is_not_allowed_is_named_with_what_is(changes, message):
    with pytest.raises(InputError, match=rf"^{HORNBEAM}: .*{message}"):
        load_species({HORNBEAM: changes})


def test_a_heading_needs_a_table():
    with pytest.raises(InputError, match="Carpinus betulus: 3 is not a table"):
        load_species({HORNBEAM: 3})


# ---------------------------------------------------------------------------------------------- provenance


def test_the_loader_refuses_a_value_without_provenance(monkeypatch):
    bare = {**TABLES, "from": {k: v for k, v in TABLES["from"].items() if k != "leaves"}}
    monkeypatch.setattr(catalogue_module, "_shipped", lambda: bare)
    catalogue_module._shipped_species.cache_clear()
    try:
        with pytest.raises(InputError, match="leaves has no provenance; name one of botany, trade"):
            load_species()
    finally:
        catalogue_module._shipped_species.cache_clear()


@pytest.mark.parametrize(
    "entry, message",
    [
        ({"kind": "somebody said", "text": "so"}, "needs words and a kind: published / common practice"),
        ({"kind": "published", "text": ""}, "needs words and a kind"),
        ({"kind": "derived", "text": "sum", "uses": ["gone"]}, "rests on gone, which is not there"),
    ],
)
def test_a_provenance_entry_has_a_kind_and_stands_on_others_that_exist(entry, message):
    with pytest.raises(InputError, match=message):
        source_texts({"one": entry})


def test_nothing_in_the_provenance_is_idle():
    used = set(TABLES["from"].values())
    groups = [prior for group in TABLES["groups"].values() for prior in group["priors"].values()]
    rows = [prior for row in TABLES["species"].values() for prior in row.get("priors", {}).values()]
    for table in [*TABLES["species"].values(), *groups, *rows, *TABLES["log_sd"].values()]:
        used |= {value for key, value in table.items() if key.startswith("from")}
    for entry in TABLES["provenance"].values():
        used |= set(entry.get("uses", ()))
    assert used == set(TABLES["provenance"])


# --------------------------------------------------------------------------------------------------- speed


def test_the_catalogue_is_read_and_checked_once(monkeypatch):
    for cached in (f for f in vars(catalogue_module).values() if hasattr(f, "cache_clear")):
        cached.cache_clear()
    texts = []
    monkeypatch.setattr(tomllib, "loads", lambda text, real=tomllib.loads: texts.append(text) or real(text))
    first = load_species()
    assert load_species()[HORNBEAM] is first[HORNBEAM] and len(texts) == 1


def test_nothing_heavy_is_imported():
    code = "import sys, phenology.species.catalogue as s; s.load_species(); print(*sorted(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    assert "phenology.species.names" in loaded
    assert not loaded & {"numpy", "scipy", "pandas", "tomlkit", "difflib", "click"}


def test_species_can_be_kept_in_sets():
    assert len({SHIPPED[HORNBEAM], SHIPPED[HORNBEAM], SHIPPED["Ulmus minor"]}) == 2
