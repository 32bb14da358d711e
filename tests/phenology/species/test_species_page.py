"""docs/species.md says what the catalogue holds: its examples run, its tables agree."""

from __future__ import annotations

import doctest
import re
import tomllib
from pathlib import Path

from phenology.species.catalogue import ALLOWED, STEPS, load_species
from phenology.species.fields import FIELDS

PAGE = Path(__file__).resolve().parents[3] / "docs" / "species.md"
TEXT = PAGE.read_text(encoding="utf-8")
SHIPPED = load_species()


def table_rows(heading):
    """First cell (its name in backticks) to the other cells, of the table whose header starts so."""
    table = TEXT[TEXT.index(f"| {heading} |") :].split("\n\n")[0]
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in table.splitlines()[2:]]
    return {re.match(r"`(\w+)`", row[0])[1]: row[1:] for row in rows}


def test_the_page_names_every_field_and_what_it_may_be():
    rows = table_rows("field")
    assert set(rows) == {*FIELDS, "priors"}
    for field, allowed in ALLOWED.items():
        assert set(re.findall(r"`([\w-]+)`", rows[field][0])) == set(allowed)


def test_the_page_shows_the_guesses_as_they_are():
    groups = [cell.strip() for cell in re.search(r"\| step \|(.*)\|", TEXT)[1].split("|")]
    rows = table_rows("step")
    assert set(rows) == set(STEPS)
    for place, group in enumerate(groups):
        shown = load_species({"Nova arbor": {"names": ["new tree"], "group": group}})["Nova arbor"]
        for step in STEPS:
            assert float(rows[step][place]) == shown.priors[step].days


def test_the_page_counts_the_catalogue():
    assert f"catalogue of {len(SHIPPED)} woody plants" in TEXT


def test_the_garden_example_is_taken():
    own = tomllib.loads(re.search(r"```toml\n(.*?)```", TEXT, re.DOTALL)[1])["species"]
    catalogue = load_species(own)
    assert catalogue["Carpinus betulus"].overridden == ("leaves", "defoliation", "priors")
    assert catalogue["Corylus avellana"].group == "quick"


def test_the_python_example_runs():
    failed, tried = doctest.testfile(
        str(PAGE), module_relative=False, optionflags=doctest.NORMALIZE_WHITESPACE
    )
    assert (failed, tried) == (0, 5)
