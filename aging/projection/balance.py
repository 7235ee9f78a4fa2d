"""SRI and surface temperature of a projected solar reflectance, draw by draw.

Each draw goes through the balance of ASTM E1980 (`optics.heat`, standard conditions) with a draw of
the formulation's thermal emittance: measured, the mean of its readings in their latest year with
the standard error of that mean and the instrument's own, or assumed. It is one for all sites and
times, so that its error stays in a mean over sites and all but cancels in a loss.
"""

from __future__ import annotations

import zlib
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from aging.campaigns import SERIES_KINDS
from aging.conditions import comparable
from aging.cube import moments
from aging.decay.site import Array
from aging.optics.heat import Emittance, Wind, emittance, sri, surface_temperature
from aging.records import Exposure
from aging.vocabulary import Property

INSTRUMENT_SD, ASSUMED_SD = 0.01, 0.02  # common practice, no source
LATEST = pd.Timedelta(days=365)
ZERO_C_K = 273.15
ASSUMED = emittance(sd=ASSUMED_SD)


@dataclass(frozen=True)
class Balance:
    """The derived property that is told, at which wind, and the emittance of each formulation."""

    quantity: Property
    wind: Wind
    emittances: Mapping[str, Emittance]

    def of(self, reflectance: Array, formulations: Sequence[str]) -> Array:
        """Draws for draws (..., D, G) of the reflectance of formulations (G,)."""
        drawn = [
            self.emittances[name].draws(reflectance.shape[-2:-1], zlib.crc32(name.encode()))
            for name in formulations
        ]
        return self._solved(reflectance, np.stack(drawn, axis=-1))

    def of_readings(self, reflectance: Array, formulations: Sequence[str]) -> Array:
        """Values for readings (N,) of panels of formulations (N,), each at its mean emittance."""
        read = ~np.isnan(reflectance)
        mean = np.array([self.emittances[name].value for name in formulations])
        found = np.full(reflectance.shape, np.nan)
        found[read] = self._solved(reflectance[read], mean[read])
        return found

    def _solved(self, reflectance: Array, thermal_emittance: Array) -> Array:
        if self.quantity.name == "sri":
            return sri(reflectance, thermal_emittance, self.wind)
        return surface_temperature(reflectance, thermal_emittance, self.wind) - ZERO_C_K

    @property
    def notes(self) -> tuple[str, ...]:
        """How it is calculated, and with which emittance of which formulations."""
        of_value = defaultdict(list)
        for name, known in sorted(self.emittances.items()):
            of_value[str(known)].append(name)
        how = (
            f"{self.quantity.within} calculated draw by draw ({self.quantity.method}, "
            f"standard conditions, {self.wind} wind); not measured, not an energy figure"
        )
        return how, *(f"{known}: {', '.join(names)}" for known, names in of_value.items())


def balance(prop: Property, wind: Wind, exposure: Exposure, formulations: Iterable[str]) -> Balance:
    """The balance of formulations, with emittances as `exposure` has them."""
    rows = exposure.readings[exposure.readings["property"] == "thermal_emittance"]
    rows = comparable(replace(exposure, readings=rows))[0]
    rows = rows[rows["surface_state"] == "as_exposed"].merge(exposure.panels, on="panel")
    rows = rows[rows["kind"].isin(SERIES_KINDS)]
    at = moments(rows["read_on"])
    latest = rows[at > at.groupby(rows["formulation"]).transform("max") - LATEST]
    read = dict(list(latest.groupby("formulation")["value"]))
    known = {name: _measured(read[name]) if name in read else ASSUMED for name in formulations}
    return Balance(prop, wind, known)


def _measured(read: pd.Series) -> Emittance:
    scatter = read.std() if len(read) > 1 else INSTRUMENT_SD
    return emittance(float(read.mean()), float(np.hypot(scatter / len(read) ** 0.5, INSTRUMENT_SD)))
