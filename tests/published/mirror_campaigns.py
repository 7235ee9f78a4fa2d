"""Outdoor soiling of mirrors, turned into an exposure folder that anyone could have written.

Readings of 105 mirrors in 14 campaigns at 5 places. A campaign becomes a site (its mirrors share
the dust, the rain and the visits), a mirror a formulation with one panel. Reflectance stays in
percent, as published, so that the reader's unit conversion is part of the test.

Source: G. Picotti, M. E. Cholette et al. (2023), Solar Energy 263, 111945,
doi:10.1016/j.solener.2023.111945; data: PyPI mirror-soiling-data 0.1.2 (MIT).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

import pandas as pd

EARLY = 0.4  # share of a campaign's time span that a forecast may see


@dataclass(frozen=True)
class Campaign:
    """One workbook: `readings` and `sigma` in percent (time x mirror), `tilt_deg` by mirror."""

    name: str
    place: str
    readings: pd.DataFrame
    sigma: pd.DataFrame
    tilt_deg: pd.Series
    weather: pd.DataFrame

    @property
    def cut(self) -> pd.Timestamp:
        """Last moment that a forecast may see."""
        first, last = self.readings.index[[0, -1]]
        return first + EARLY * (last - first)

    def curves(self) -> Iterable[tuple[str, pd.Series]]:
        """Mirror and its readings in percent, gaps left out."""
        return ((str(name), column.dropna()) for name, column in self.readings.items())


def _campaign(path: Path) -> Campaign:
    sheets = pd.read_excel(path, sheet_name=None, engine="calamine")
    average, sigma = (
        sheets[f"Reflectance_{kind}"].set_index("Time").astype(float)
        for kind in ("Average", "Sigma")
    )
    tilt = sheets["Tilts"].drop(columns="Time").iloc[0].reindex(average.columns)
    return Campaign(path.stem, path.parent.name, average, sigma, tilt, sheets["Weather"])


def campaigns() -> tuple[Campaign, ...]:
    """All campaigns, oldest workbook name first."""
    root = Path(str(resources.files("mirror_soiling_data")))
    return tuple(_campaign(path) for path in sorted(root.glob("*/*_20*.xlsx")))


def _panels(campaign: Campaign) -> pd.DataFrame:
    mirrors = campaign.readings.columns
    return pd.DataFrame(
        {
            "panel": [f"{campaign.name}/{mirror}" for mirror in mirrors],
            "formulation": [f"{campaign.place}/{mirror}" for mirror in mirrors],
            "site": campaign.name,
            "exposed_on": campaign.readings.index[0].date().isoformat(),
            "tilt_deg": campaign.tilt_deg.to_numpy(),
        }
    )


def _readings(campaign: Campaign) -> pd.DataFrame:
    def long(wide: pd.DataFrame, name: str) -> pd.DataFrame:
        return wide.melt(ignore_index=False, var_name="mirror", value_name=name).reset_index()

    table = long(campaign.readings, "value").merge(long(campaign.sigma, "spot_sd")).dropna()
    return pd.DataFrame(
        {
            "panel": campaign.name + "/" + table["mirror"],
            "read_on": table["Time"].dt.strftime("%Y-%m-%dT%H:%M:%S"),
            "property": "solar_reflectance",
            "value": table["value"],
            "unit": "%",
            "surface_state": "as_exposed",
            "spot_sd": table["spot_sd"],
        }
    )


def _weather(campaign: Campaign) -> pd.DataFrame:
    """Daily means; rain intensity is taken as mm/h (the source states no unit)."""
    daily = campaign.weather.set_index("Time").resample("D")
    hours = campaign.weather["Time"].diff().median() / pd.Timedelta(hours=1)
    columns = {"AirTemp": "temperature_C", "RH": "relative_humidity_pct", "PM10": "pm10_ug_m3"}
    table = daily[[name for name in columns if name in campaign.weather]].mean()
    if "RainIntensity" in campaign.weather:
        table["rain_mm"] = daily["RainIntensity"].sum() * hours
    return table.rename(columns=columns).rename_axis("date").reset_index()


def write_folder(folder: Path, chosen: Iterable[Campaign]) -> Path:
    """Write the campaigns as one exposure folder and return it."""
    chosen = tuple(chosen)
    (folder / "weather").mkdir(parents=True)
    for name, table in (("panels", _panels), ("readings", _readings)):
        pd.concat([table(one) for one in chosen]).to_csv(folder / f"{name}.csv", index=False)
    for one in chosen:
        _weather(one).to_csv(folder / "weather" / f"{one.name}.csv", index=False)
    return folder
