"""The public names of the science room: each is there, and importing the room loads nothing heavy."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import phenology


@pytest.mark.parametrize("name", phenology.__all__)
def test_every_public_name_can_be_had(name: str) -> None:
    assert getattr(phenology, name).__doc__ or name.isupper()


def test_the_public_names_are_these() -> None:
    assert set(phenology.__all__) >= {
        "degree_days",
        "RequirementModel",
        "forecast_garden",
        "score_dates",
    }
    assert len(phenology.__all__) == len(set(phenology.__all__))


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'guess'"):
        _ = phenology.guess


def test_importing_the_room_loads_no_numpy() -> None:
    code = "import sys, phenology; print('numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_no_public_name_is_also_the_name_of_a_module() -> None:
    """Importing the module would otherwise hide the name."""
    modules = {path.stem for path in Path(phenology.__file__).parent.glob("*.py")}
    assert not modules & set(phenology.__all__)
