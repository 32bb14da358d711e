"""Fit the corrections of a garden's places anew, from what its store holds now."""

from __future__ import annotations

from pathlib import Path

from data_sources.weather.place_correction import fit_correction, load_corrections, save_corrections
from data_sources.weather.store.weather_store import WeatherStore
from phenology.model.errors import InputError


def refit_corrections(garden: Path, store: WeatherStore, place: str, units: str = "C") -> list[str]:
    """Fit how a place's own readings differ from its stations and model, and keep that beside the weather.

    Parameters
    ----------
    garden : Path
        The garden's folder.
    place : str
        Id of the place.
    units : {"C", "F"}
        Of the words.

    Returns
    -------
    list of str
        Size and uncertainty in words; empty where there are no own readings to go by.

    Raises
    ------
    StoreError
        If they cannot be written.
    """
    try:
        kept = load_corrections(garden)
    except InputError:
        kept = {}  # it holds nothing that is not made anew
    own = store.read_source(place, "bench") if store.has(place) else None
    fits = {}
    for source in ("station", "model") if own is not None else ():
        other = store.read_source(place, source)
        fit = fit_correction(own, other) if own is not None and other is not None else None
        if fit is not None:
            fits[source] = fit
    if fits or place in kept:
        save_corrections(garden, {**kept, place: fits})
    words = {"station": "against the stations", "model": "against the model"}
    return [f"{words[source]}: {'; '.join(fit.lines(units))}" for source, fit in fits.items()]
