"""What the pages of spectra, colour and ratings say."""

from __future__ import annotations

import pandas as pd

from aging.optics.colour import Conditions
from aging.vocabulary import Property
from dashboard.wording import exposed, percent, plural

NO_SPECTRA = "No spectrum of a panel in the weather is stored."
SPECTRA_WILL_SHOW = """
With spectra this page shows each panel's reflectance from 300 to 2500 nm, when new and as it
aged, over the spectrum of the sun; and what ultraviolet, visible and near infrared bring to the
loss. Add a file of spectra to a store, or a sheet spectra.csv to an exposure folder:
"""
ADD_SPECTRA = "aging spectrum FILE --store STORE --read-on DATE"
PANEL, WEIGHTING, AGED = "Panel", "Solar weighting", "Set against the first"
BANDS_HEADING = "Where the loss came from"
ONE_SPECTRUM = "There is one spectrum of this panel so far: no loss can be told."
BAND_COLUMNS = {
    "band": "Band", "limits": "Limits, nm", "share": "Share of the sun's energy, %",
    "then": "Reflectance then, fraction", "now": "Reflectance now, fraction",
    "loss": "Part of the loss, fraction",
    "part": "Part of the loss, %",
}  # fmt: skip
SPECTRUM_COLUMNS = {
    "name": "Spectrum", "on": "Day", "solar_reflectance": "Solar reflectance, fraction",
    "ultraviolet": "Ultraviolet", "visible": "Visible", "near infrared": "Near infrared",
    "instrument": "Instrument", "operator": "Operator",
}  # fmt: skip

NO_APPEARANCE = "Neither colour nor ratings of panels in the weather were read."
TRIAL = "Exposed since"
COLOUR_HEADING, TRACKS_HEADING = "The colour as it looks", "How the colour moved"
RATINGS_HEADING, RATING = "Ratings", "Rating"
NO_COLOUR = "L*, a* and b* of this formulation were not read together."
NO_RATINGS = "No rating was given in this trial."
NO_SCREEN = (
    "A screen is no colour standard: compare the panels of one screen with each other, and panels "
    "themselves in a light booth."
)
NOT_STATED = (
    "Differences and yellowness need the illuminant, observer_deg and geometry of the readings: "
    "fill in these columns."
)
TRACK_TITLES = {
    "lightness": "L*, lightness", "a_star": "a*, green to red", "b_star": "b*, blue to yellow",
    "delta_e_00": "CIEDE2000 to the first reading", "yellowness_index": "Yellowness index",
}  # fmt: skip
HOW_COLOUR = """
Means over the panels of a visit. CIEDE2000 is to a panel's own reading of its first month, the
grey scale (ISO 105-A05, 5 is no change) to the first visit; yellowness is by ASTM E313.
"""
COLOUR_COLUMNS = {
    "months": "Months exposed", "state": "Surface", "panels": "Panels", "lightness": "L*",
    "a_star": "a*", "b_star": "b*", "delta_e_00": "CIEDE2000", "yellowness_index": "Yellowness",
    "grey_scale": "Grey scale",
}  # fmt: skip
CELL_COLUMNS = {
    "formulation": "Formulation", "months": "Months exposed", "median": "Median", "best": "Best",
    "worst": "Worst", "panels": "Panels",
}  # fmt: skip
TREND_HEADING = "Is it getting worse?"
TREND_COLUMNS = {
    "formulation": "Formulation", "odds": "Odds ratio a year",
    "range": "Interval", "superiority": "Pairs better than control, %",
    "p_holm": "p (Holm)", "panels": "Panels", "readings": "Readings",
}  # fmt: skip
NAMED = 3  # formulations in a sentence
CANNOT_RATE = "These ratings cannot be read as one series."
HOW_RATINGS = """
- Ratings have order but no unit: the figure is the median (of an even number of panels the worse
  of the two in the middle), the blocks are the panels from best to worst. No mean is taken.
- Odds: 1 is no trend, more than 1 is getting worse; by proportional odds, each formulation alone.
- Pairs of panels: ties count half, 50 % is no difference. With 3 panels against 3, no p is below
  0.10, and Holm's correction makes it larger.
"""


def spectra(found: pd.DataFrame, first: pd.Series, aged: pd.Series | None) -> str:
    """The statement above the overlaid spectra; rows with their solar reflectance."""
    told = f"{plural(len(found), 'spectrum').replace('spectrums', 'spectra')} of {first['panel']}"
    was = f"{first['solar_reflectance']:.3f} ({first['name']})"
    now = "" if aged is None else f" and {aged['solar_reflectance']:.3f} ({aged['name']})"
    return f"{told} over the shaded sun; solar reflectance {was}{now}."


def bands(lost: pd.DataFrame) -> str:
    """The statement above the chart of losses by band."""
    total = lost["loss"].sum()
    if not total > 0:
        return f"No loss of solar reflectance: the change is {-total:+.3f}."
    parts = [f"{row.band} {100 * row.part:.0f} %" for row in lost.itertuples()]
    return f"Of the loss of {total:.3f} in solar reflectance: {', '.join(parts)}."


def conditions(found: Conditions) -> str:
    """What colours hold under."""
    return f"Read under {found.illuminant}, {found.observer_deg} deg, {found.geometry}."


def swatches(shown: pd.DataFrame, formulation: str, site: str) -> str:
    """The statement above the colours side by side."""
    told = [
        f"L* {row.lightness:.1f}, a* {row.a_star:.1f}, b* {row.b_star:.1f} ({row.name})"
        for row in shown.itertuples(index=False)
    ]
    return f"{formulation} at {site}, mean of its panels: {'; '.join(told)}."


def track(means: pd.DataFrame, field: str) -> str:
    """The statement above one track of colour, from the first visit to the last as exposed."""
    seen = means[means["surface_state"] == "as_exposed"].dropna(subset=[field])
    name = TRACK_TITLES[field]
    if seen.empty:
        return f"{name}: no value as exposed."
    first, last = seen.iloc[0], seen.iloc[-1]
    return (
        f"{name}: {first[field]:.1f} ({exposed(first['months'])}) to {last[field]:.1f} "
        f"({exposed(last['months'])}), as exposed."
    )


def rated(cells: pd.DataFrame, prop: Property, method: str, site: str) -> str:
    """The statement above the strips: the last visit's best and worst median, and whose it is."""
    letter = f", method {method}" if method else ""
    last = cells[cells["months"] == cells["months"].max()]
    middle = last["median"] if prop.higher_is_better else -last["median"]
    worst = last.loc[middle == middle.min(), "formulation"]
    more = f" and {len(worst) - NAMED} more" if len(worst) > NAMED else ""
    return (
        f"{prop.label}{letter}, at {site}: at {exposed(last['months'].iloc[0])} medians run from "
        f"{last.loc[middle.idxmax(), 'median']:g} to {last.loc[middle.idxmin(), 'median']:g} "
        f"({', '.join(worst[:NAMED])}{more})."
    )


def odds(value: float) -> str:
    """An odds ratio to two figures, between 0.001 and 1000."""
    if pd.isna(value):
        return ""
    if value >= 1000:  # noqa: PLR2004
        return "above 1000"
    return "below 0.001" if value < 0.001 else f"{float(f'{value:.2g}'):g}"  # noqa: PLR2004


def trends(found: pd.DataFrame) -> str:
    """What stands above the table of trends: how many moved, and why some have no odds."""
    known = found.dropna(subset=["odds_ratio"])
    worse, better = known[known["lower"] > 1], known[known["upper"] < 1]
    text = (
        f"Of {plural(len(found), 'formulation')}, {len(worse)} get worse and {len(better)} better "
        f"with {percent(found['level'].iloc[0])} intervals that leave out 1."
    )
    if len(worse):
        most = worse.loc[worse["lower"].idxmax()]
        text += (
            f" Clearest: {most['formulation']}, odds of a worse rating {odds(most['odds_ratio'])} "
            f"times as high a year later ({odds(most['lower'])} to {odds(most['upper'])})."
        )
    without = found[found["odds_ratio"].isna()].groupby("reason")["formulation"]
    return "\n".join([text, *(f"No odds for {', '.join(n)}: {why}." for why, n in without)])
