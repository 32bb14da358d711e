"""Shared by all tests: where the public reference data are, if they are here at all."""

from __future__ import annotations

import gc
import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the commands do: see reports/cli/main.py

# a busy computer is slow, and nothing is wrong with it
settings.register_profile("flushcast", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("flushcast")

gc.disable()  # until all tests are collected: none of what is made meanwhile is garbage

SHARED = Path(__file__).resolve().parent.parent.parent / "shared"


@pytest.fixture
def shared() -> Path:
    """The folder of published reference data beside the checkout; skips when it is not there."""
    return shared_or_skip("reference values compiled from publications (see tests/reference/README.md)")


def shared_or_skip(data_set: str) -> Path:
    """The reference folder, or skip and name the public data set the test needs."""
    if not (SHARED / "data").is_dir():
        pytest.skip(f"needs {data_set}, which is not kept in this repository")
    return SHARED


def pytest_collection_finish() -> None:
    """From here on garbage is looked for, but not among thousands of tests."""
    gc.freeze()
    gc.enable()
