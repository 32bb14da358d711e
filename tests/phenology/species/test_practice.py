"""How each species is worked: complete, sourced, agreeing with itself, and cautious where growers differ."""

from __future__ import annotations

import pytest

from phenology.model.errors import InputError
from phenology.model.operations import Operation
from phenology.species.catalogue import load_species, neutral_species
from phenology.species.fields import DISEASES, NOT_HALVED, PROFILE_FIELDS, TECHNIQUES, profile_value

SHIPPED = load_species()
HORNBEAM, TRIDENT, FIG = "Carpinus betulus", "Acer buergerianum", "Ficus microcarpa"

each_species = pytest.mark.parametrize("species", SHIPPED.values(), ids=SHIPPED.keys())


@each_species
def test_a_profile_agrees_with_itself(species):
    opened = {*species.opens(1), *species.opens(2)}
    assert species.practice != "undescribed" and species.first_flush and species.later_flush
    assert opened, "every tree may be cut at some time"
    assert opened <= {*species.first_flush, *species.later_flush}, "shipped lists need no mending"
    assert ("outer-defoliation" in opened) == (species.defoliation != "never")
    assert "halve" not in opened or species.leaf_kind not in NOT_HALVED
    assert species.bloom_led == (species.practice == "bloom-led") and (
        not species.bloom_led or species.blooms != "none"
    )
    assert species.blooms != "none" or species.grown_for == "leaf" or species.latin == "Ficus carica"
    if species.growth == "fixed":
        assert species.opens(2) == (), "a flush that is never assumed opens nothing"
    low, high = species.keeps
    assert 1 <= low <= high <= (2 if species.arrangement == "opposite" else 6)


@each_species
def test_only_a_strong_tree_with_roots_left_alone_is_bared(species):
    for technique in ("outer-defoliation", "full-defoliation"):
        asked = species.needs[technique]
        assert {"strong", "not-repotted"} <= set(asked)
        assert ("warm-nights" in asked) == (species.practice == "tropical")
    assert species.needs["pinch"] == ("not-repotted",)


@each_species
def test_diseases_are_those_that_the_genus_gets(species):
    genus = species.latin.split()[0]
    for disease in species.diseases:
        assert genus in DISEASES[disease][1], f"{genus} does not get {disease}"
    assert species.prone == bool({"wet wounds", "wet leaves"} & {DISEASES[d][0] for d in species.diseases})


@each_species
def test_every_field_says_where_it_comes_from(species):
    assert set(PROFILE_FIELDS) <= set(species.provenance)


def test_every_technique_is_an_operation_that_can_be_written_down():
    assert {name for name in TECHNIQUES.values() if name} <= set(Operation)


def test_what_the_trade_would_be_angry_about():
    """Each of these once stood wrong in the advice."""
    for latin in ("Ginkgo biloba", "Fraxinus ornus", "Buxus sempervirens", "Olea europaea",
                  "Rhododendron indicum", "Camellia japonica", "Camellia sasanqua"):  # fmt: skip
        assert not SHIPPED[latin].takes("halve"), latin
    for latin in ("Pseudocydonia sinensis", HORNBEAM, "Acer palmatum", "Prunus mume"):
        first, later = SHIPPED[latin].opens(1), SHIPPED[latin].opens(2)
        assert "outer-defoliation" in first and later == ("extend-cut", "halve"), latin
    assert {s.latin for s in SHIPPED.values() if s.takes("full-defoliation")} == {TRIDENT}
    assert {s.latin for s in SHIPPED.values() if "outer-defoliation" in s.opens(2)} == {TRIDENT}
    for latin in ("Prunus mume", "Prunus armeniaca", "Prunus incisa", "Prunus mahaleb"):
        assert "fire blight" not in SHIPPED[latin].lets_in("wet wounds")
        assert "bare" not in SHIPPED[latin].prune and SHIPPED[latin].lets_in("winter wounds") == (
            "silver leaf",
        )
    for latin in ("Chaenomeles speciosa", "Chaenomeles japonica"):
        assert SHIPPED[latin].repot == ("autumn",) and "crown gall" in SHIPPED[latin].provenance["repot"]
    assert SHIPPED["Rhododendron indicum"].repot == ("after-bloom",)
    assert SHIPPED[FIG].repot == ("warm-nights",)


@pytest.mark.parametrize(
    "latin",
    ["Acer ginnala", "Chaenomeles japonica", "Wisteria floribunda", "Morus alba", "Prunus mahaleb",
     "Stewartia pseudocamellia", "Euonymus alatus", "Cornus mas", "Ilex serrata", "Diospyros rhombifolia",
     "Punica granatum", "Lagerstroemia indica", "Ehretia microphylla", "Portulacaria afra",
     "Ficus salicaria"],
)  # fmt: skip
def test_those_that_growers_missed_have_joined(latin):
    assert latin in SHIPPED


def test_a_value_that_growers_differ_on_says_so():
    assert "growers defoliate it; the more cautious" in SHIPPED["Cornus mas"].provenance["defoliation"]
    assert SHIPPED["Cornus mas"].provenance["keeps"].startswith("common practice, no source")
    assert SHIPPED[HORNBEAM].provenance["prune"].endswith("pruned soon after leaf fall")
    assert "pruned soon after leaf fall" in SHIPPED[TRIDENT].provenance["prune"], "from its practice"


def test_a_species_nobody_has_described_is_only_cut_when_hard():
    unknown = neutral_species("Ficta arbor")
    assert unknown.opens(1) == unknown.opens(2) == ("extend-cut",)
    assert unknown.provenance["first_flush"].endswith("a species nobody has described")


# ------------------------------------------------------------------------------------------- garden values


def test_a_garden_may_change_any_field():
    own = load_species({HORNBEAM: {"keeps": [2, 3], "repot": ["autumn"], "needs": {"pinch": ["strong"]}}})[
        HORNBEAM
    ]
    assert own.keeps == (2, 3) and own.repot == ("autumn",)
    assert own.needs["pinch"] == ("strong",) and own.needs["outer-defoliation"] == ("strong", "not-repotted")
    assert own.provenance["keeps"] == "this garden's own setting" and own.overridden == (
        "keeps",
        "repot",
        "needs",
    )


def test_defoliation_and_leaf_kind_have_the_last_word():
    own = load_species(
        {HORNBEAM: {"defoliation": "never"}, "Acer palmatum": {"leaf_kind": "small"},
         FIG: {"defoliation": "once"}, "Zelkova serrata": {"defoliation": "repeat"}}
    )  # fmt: skip
    assert own[HORNBEAM].opens(1) == ("extend-cut", "halve")
    assert own["Acer palmatum"].opens(1) == ("pinch", "outer-defoliation", "extend-cut")
    assert own[FIG].opens(1) == ("outer-defoliation", "extend-cut") and own[FIG].opens(2) == ("extend-cut",)
    assert own["Zelkova serrata"].opens(2)[0] == "outer-defoliation"


def test_another_practice_is_taken_whole():
    own = load_species(
        {TRIDENT: {"practice": "cut-small"}, "Corylus avellana": {"names": ["hazel"], "practice": "cut"}}
    )
    assert own[TRIDENT].first_flush == ("extend-cut",) and own[TRIDENT].leaf_kind == "small"
    assert own["Corylus avellana"].opens(1) == ("extend-cut", "halve")


@pytest.mark.parametrize(
    "changes, message",
    [
        ({"practice": "gently"}, "practice is 'gently'; it may be undescribed, outer"),
        ({"leaf_kind": "tiny"}, "leaf_kind is 'tiny'; it may be large, medium, small"),
        ({"keeps": [3, 2]}, r"keeps is \[3, 2\]; write two counts, low and high, such as \[1, 2\]"),
        ({"keeps": [True, 2]}, "write two counts"),
        ({"repot": "autumn"}, r"repot is 'autumn'; write a list such as \[\"bare\"\]"),
        ({"prune": ["winter"]}, "prune holds 'winter'; it may hold bare, leaf-fall"),
        ({"first_flush": ["twist"]}, "first_flush holds 'twist'; it may hold pinch, extend-cut"),
        ({"diseases": ["rust"]}, "diseases holds 'rust'; it may hold fire-blight"),
        ({"needs": ["strong"]}, "needs is .*; write a table"),
        ({"needs": {"twist": ["strong"]}}, "needs names 'twist'; the techniques are pinch"),
        ({"needs": {"pinch": ["luck"]}}, "needs of pinch holds 'luck'; it may hold strong"),
    ],
)
def test_a_value_that_is_not_allowed_is_named_with_what_is(changes, message):
    with pytest.raises(InputError, match=rf"^{HORNBEAM}: .*{message}"):
        load_species({HORNBEAM: changes})


def test_a_field_typed_on_one_line():
    assert profile_value("first_flush", "Extend cut, halve") == ["extend-cut", "halve"]
    assert (
        profile_value("keeps", "2") == [2, 2] and profile_value("leaf_kind", "Needle like") == "needle-like"
    )
    with pytest.raises(InputError, match="keeps takes one count or two, such as 1-2; got 'few'"):
        profile_value("keeps", "few")
