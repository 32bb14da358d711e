"""Which species is meant: Latin, common name or part of either; several are listed, near ones offered."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from phenology.model.errors import InputError, UnknownNameError
from phenology.species import names
from phenology.species.catalogue import find_species, load_species
from phenology.species.names import near_names, plain

SHIPPED = load_species()


@pytest.mark.parametrize(
    "text, latin",
    [
        ("Acer buergerianum", "Acer buergerianum"),
        ("ACER BUERGERIANUM", "Acer buergerianum"),
        ("trident maples", "Acer buergerianum"),
        ("A. palmatum", "Acer palmatum"),
        ("palmatum", "Acer palmatum"),
        ("Acer palmatum 'Deshojo'", "Acer palmatum"),
        ("chin. elm", "Ulmus parvifolia"),
        ("cork bark elm", "Ulmus parvifolia"),
        ("Cork-Bark Elms", "Ulmus parvifolia"),
        ("Japanese beeches", "Fagus crenata"),
        ("Fuji cherries", "Prunus incisa"),
        ("ölive", "Olea europaea"),
        ("ash", "Fraxinus ornus"),
        ("boxes", "Buxus sempervirens"),
        ("satsuki", "Rhododendron indicum"),
        ("apricots", "Prunus armeniaca"),  # a whole name beats part of "Japanese apricot"
        ("buergerian", "Acer buergerianum"),
        ("Betula × pendula", "Betula pendula"),
    ],
)
def test_a_name_or_part_of_one_finds_its_species(text, latin):
    assert find_species(text, SHIPPED).latin == latin


@pytest.mark.parametrize("species", SHIPPED.values(), ids=SHIPPED.keys())
def test_every_latin_and_common_name_finds_its_own_species(species):
    for name in (species.latin, *species.names):
        assert find_species(name, SHIPPED) is species
        assert find_species(name.upper(), SHIPPED) is species


@pytest.mark.parametrize("species", SHIPPED.values(), ids=SHIPPED.keys())
def test_the_plural_of_a_common_name_finds_the_same(species):
    for name in species.names:
        hissing = name.endswith(("ch", "sh", "x"))
        plural = name[:-1] + "ies" if name.endswith("ry") else name + ("es" if hissing else "s")
        assert find_species(plural, SHIPPED) is species


@pytest.mark.parametrize(
    "text, listed",
    [
        ("hornbeams", ["Carpinus betulus (European hornbeam)", "Carpinus turczaninowii (Korean hornbeam)"]),
        ("Quercus", ["Quercus robur", "Quercus dentata", "Quercus suber"]),
        ("crabapple", ["Malus sieboldii", "Malus halliana"]),
        ("beech", ["Fagus sylvatica", "Fagus crenata"]),
    ],
)
def test_several_that_fit_are_listed(text, listed):
    with pytest.raises(
        InputError, match=f"'{text}' fits several species: .*Write more of the name"
    ) as refused:
        find_species(text, SHIPPED)
    assert not isinstance(refused.value, UnknownNameError)
    assert all(name in str(refused.value) for name in listed)


def test_a_long_list_is_cut_and_counted():
    with pytest.raises(InputError, match=r" and \d+ more\. Write more of the name"):
        find_species("a", SHIPPED)


def test_in_one_garden_a_plain_word_is_enough():
    mine = {latin: SHIPPED[latin] for latin in ("Carpinus betulus", "Acer palmatum")}
    assert find_species("hornbeams", mine).latin == "Carpinus betulus"


@pytest.mark.parametrize(
    "text, near",
    [
        ("hornbeem", "European hornbeam"),
        ("Acer palmtum", "Acer palmatum"),
        ("zelcova", "Zelkova serrata"),
        ("trydent maple", "trident maple"),
        ("Ulmus parvifola", "Ulmus parvifolia"),
    ],
)
def test_a_mistyped_name_is_offered_near_ones(text, near):
    with pytest.raises(
        UnknownNameError, match=f"no species called '{text}'. Did you mean .*{near}"
    ) as refused:
        find_species(text, SHIPPED)
    assert refused.value.what == "species" and 1 <= len(refused.value.near) <= 3


def test_a_name_like_nothing_is_offered_nothing():
    with pytest.raises(UnknownNameError, match=r"no species called 'qqqqq'\.$"):
        find_species("qqqqq", SHIPPED)
    assert near_names("qqqqq", SHIPPED) == []


@pytest.mark.parametrize("text", ["", "  ", "'", "–"])
def test_no_name_at_all(text):
    with pytest.raises(InputError, match="name a species"):
        find_species(text, SHIPPED)


@settings(max_examples=60)
@given(st.text(max_size=20))
def test_whatever_is_typed_finds_one_species_or_says_why_not(text):
    try:
        found = find_species(text, SHIPPED)
    except InputError as refused:
        assert str(refused)
    else:
        assert found in SHIPPED.values()


@settings(max_examples=60)
@given(st.text(max_size=30))
@example("\U0001d670")  # a letter that is a capital only once it is made plain
def test_a_plain_name_has_no_capitals_or_spare_blanks(text):
    assert plain(text) == " ".join(plain(text).casefold().split())


def test_whole_names_of_other_languages_are_known():
    for text, latin in [
        ("Fächerahorn", "Acer palmatum"),
        ("érable du Japon", "Acer palmatum"),
        ("olmo cinese", "Ulmus parvifolia"),
        ("Haagbeuk", "Carpinus betulus"),
        ("A. palm.", "Acer palmatum"),
    ]:
        assert find_species(text, SHIPPED).latin == latin


def test_every_name_of_another_language_leads_to_its_species():
    listed = tomllib.loads((Path(names.__file__).parent / "other_names.toml").read_text(encoding="utf-8"))
    found = [find_species(name, SHIPPED).latin for named in listed.values() for name in named]
    assert found == [latin for latin, named in listed.items() for _ in named]
