"""The arithmetic in the catalogue's provenance is worked out again, and the values follow from it."""

from __future__ import annotations

import ast
import math
import operator
import re
import tomllib
from importlib import resources

import pytest

from phenology.species.catalogue import STEPS

TABLES = tomllib.loads(
    resources.files("phenology.species").joinpath("species.toml").read_text(encoding="utf-8")
)
TEMPERATE = ("quick", "steady", "preformed", "evergreen")
OPERATORS = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
}


def worked_out(text):
    """The value of a written sum: x is times, ^ is to the power, sqrt and ln are themselves."""

    def value(node):
        if isinstance(node, ast.Constant):
            return node.value
        if isinstance(node, ast.BinOp):
            return OPERATORS[type(node.op)](value(node.left), value(node.right))
        if isinstance(node, ast.Call):
            return {"sqrt": math.sqrt, "ln": math.log}[node.func.id](value(node.args[0]))
        raise AssertionError(f"not a sum: {text}")

    return value(ast.parse(text.replace(" x ", " * ").replace("^", "**"), mode="eval").body)


def sums(text):
    """Each "left = right" of a text: the sum, its printed result, and the unit of its last digit."""
    out = []
    for part in text.split(";"):
        left, _, right = part.rpartition("=")
        printed = re.match(r"\s*(-?\d+(?:\.(\d+))?)", right)
        assert left and printed, f"no sum in: {part}"
        out.append((left.split(":")[-1].strip(), float(printed[1]), 10.0 ** -len(printed[2] or "")))
    return out


def written_sums():
    for key, entry in TABLES["provenance"].items():
        for each in sums(entry["arithmetic"]) if "arithmetic" in entry else ():
            yield pytest.param(*each, id=f"{key}: {each[0]}")
    for owner, step, prior in shipped_priors():
        for each in sums(prior["why"]):
            yield pytest.param(*each, id=f"{owner} {step}")


def shipped_priors():
    for kind in ("groups", "species"):
        for name, table in TABLES[kind].items():
            for step, prior in table.get("priors", {}).items():
                yield name, step, prior


def test_the_reader_of_sums_works_by_hand():
    assert worked_out("2 x (7 - 5) ^ 2 / sqrt(16)") == 2.0
    assert sums("6 leaves: (6 - 1) x 5.1 = 25.5; ln(1) = 0") == [
        ("(6 - 1) x 5.1", 25.5, 0.1),
        ("ln(1)", 0.0, 1.0),
    ]


@pytest.mark.parametrize("left, printed, digit", list(written_sums()))
def test_every_written_sum_holds_to_its_printed_digits(left, printed, digit):
    assert abs(worked_out(left) - printed) <= 0.5 * digit + 1e-9


@pytest.mark.parametrize(
    "owner, step, prior", [pytest.param(*p, id=" ".join(p[:2])) for p in shipped_priors()]
)
def test_days_follow_from_the_sum_beside_them(owner, step, prior):
    (left, printed, _), *more = sums(prior["why"])
    assert not more
    if step == "start_budbreak" and prior["from"] == "spring":
        assert left == f"{prior['days']} x (18 - 5)", "degree-days above 5 at the reference of 18"
    else:
        assert abs(printed - prior["days"]) <= 0.5, "rounded to whole days"


def test_the_waits_of_a_second_flush_add_up_to_what_they_came_from():
    middle, slow = (printed for _, printed, _ in sums(TABLES["provenance"]["second_flush"]["arithmetic"])[2:])
    for group, whole in (("quick", middle), ("steady", slow)):
        chain = sum(TABLES["groups"][group]["priors"][step]["days"] for step in STEPS[1:])
        assert abs(chain - whole) <= 0.5


@pytest.mark.parametrize("step", STEPS)
def test_an_unknown_species_stands_in_the_middle_of_the_temperate_groups(step):
    days = [TABLES["groups"][group]["priors"][step]["days"] for group in TEMPERATE]
    unknown = TABLES["groups"]["unknown"]["priors"][step]
    assert abs(math.prod(days) ** (1 / len(days)) - unknown["days"]) <= 0.5
    logs = [math.log(d) for d in days]
    mean = sum(logs) / len(logs)
    between = math.sqrt(sum((v - mean) ** 2 for v in logs) / (len(logs) - 1))
    needed = math.hypot(between, TABLES["log_sd"][step]["log_sd"])
    assert needed - 0.005 <= unknown["log_sd"] <= needed + 0.05


def test_spreads_are_what_their_sums_say_or_rounded_up():
    for table in TABLES["log_sd"].values():
        *_, (_, printed, _) = sums(TABLES["provenance"][table["from_log_sd"]]["arithmetic"])
        assert printed - 0.005 <= table["log_sd"] <= printed + 0.035
