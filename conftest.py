"""What the examples in docstrings speak of without saying it."""

from __future__ import annotations

from typing import Any

import pytest


@pytest.fixture(autouse=True)
def garden_of_the_examples(request: pytest.FixtureRequest, doctest_namespace: dict[str, Any]) -> None:
    """`garden` in an example of the notebook is the demo garden, as `GardenFrames` says."""
    if request.path.parent.name == "notebook" and "garden" not in doctest_namespace:
        from reports.notebook import open_garden

        doctest_namespace["garden"] = open_garden("demo", as_of="2026-06-14")
