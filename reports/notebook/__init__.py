"""flushcast for Python and notebooks: open a garden, and have every result as a DataFrame.

Examples
--------
>>> from reports.notebook import open_garden
>>> garden = open_garden("demo", as_of="2026-06-14")
>>> garden.forecast()["label"].tolist()[:2]
['Quince 2', 'Crab apple']
"""

from __future__ import annotations

from reports.notebook.hindcasting import HindcastFrames, hindcast
from reports.notebook.opening import GardenFrames, open_garden

__all__ = ["GardenFrames", "HindcastFrames", "hindcast", "open_garden"]
