"""Every sentence the pages say, in one place."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from aging.charts import quantity, unit_after
from aging.vocabulary import DERIVED, Property

TITLE = "Exposure panels"
LOOK = Path(__file__).with_name("look.css")
OVERVIEW, DECAY, COMPARE = "What is exposed", "Decay and projection", "Compare"
ADDITIVES = "Additives"
SCORES = "How forecasts did"
SPECTRA, APPEARANCE = "Spectra", "Colour and ratings"
READING, FITTING = "Reading the source ...", "Fitting and projecting ..."
MOVING = "Fitting as of each past visit: {done} of {of}"
SCORING = "Forecasting what has been read since ..."

SAMPLE_IS = "The sample is an invented scenario: invented sites, formulations and readings."
CANNOT_READ = "The source cannot be read."
CANNOT_MODEL = "These readings carry no projection."
ONLY_RATINGS = "Only ratings were read: they have no mean to project."

PROPERTY, MONTHS, LEVEL = "Property", "Months exposed", "Level of the intervals"
SITE, FORMULATION = "Site", "Formulation"
MEAN_OVER_SITES = "mean over sites"
AS_OF, EVERYTHING = "Readings known", "all so far"

ATTENTION_HEADING = "Needs attention"
CALM = "Nothing does: no finding in the files, no visit late, no thin series."
FINDINGS_SHOWN = "The first {shown} of {count} findings in the files"
VISITS_HEADING = "Visits"
SITES_HEADING = "Sites"
SERIES_HEADING = "Formulations at each site"

VISIT_DUE, PLAN_VISIT = "Long not visited", "Plan a visit"
LATE = "{days} days ago; longest gap so far {longest}"
NO_CONTROL, ADD_CONTROL = "No control", "Hang a control here, or nothing can be compared"
FEW_PANELS, MORE_PANELS = "Few panels", "Hang at least {count} of a formulation"
FEW_VISITS, MORE_VISITS = "Few visits", "Read at least {count} times before trusting a projection"
NEVER_READ, READ_IT = "Never read", "Read the panel or close it"
COUNT, NONE_SEEN = "{count} {what}", "none"

SITES, READINGS, LAST_VISIT = "Sites", "Readings in the weather", "Last visit"
PANELS_OPEN = "Panels in the weather"
MATTER_COLUMNS = {"matter": "Matter", "where": "Where", "seen": "Seen", "action": "What to do"}
FINDING_COUNT_COLUMNS = {
    "severity": "Severity", "code": "Finding", "count": "Rows", "action": "What to do",
}  # fmt: skip
FINDING_COLUMNS = {
    "severity": "Severity", "code": "Finding", "sheet": "Sheet", "row": "Line", "column": "Column",
    "seen": "Seen", "allowed": "Allowed", "action": "What to do",
}  # fmt: skip
SITE_COLUMNS = {
    "site": "Site", "name": "Name", "climate": "Climate", "open": "Panels in the weather",
    "formulations": "Formulations", "since": "Exposed since", "last": "Last visit",
    "days": "Days since", "visits": "Visits", "closed": "Panels closed",
}  # fmt: skip
SERIES_COLUMNS = {
    "site": "Site", "formulation": "Formulation", "role": "Role", "since": "Exposed since",
    "panels": "Panels", "open": "Still in the weather", "visits": "Visits",
    "months": "Months read", "last": "Last reading",
}  # fmt: skip

ALREADY = "already measured"
MEAN = "Mean"
BAND = "{level} interval of the mean"
WIDE_BAND = "{level} interval of a visit's reading of it"
OBSERVED, PROJECTED = "within the readings", "projected"
MEASURED, READ_LATER = "Measured, ", "Read later, "
NUMBERS_HEADING, DETAILS = "The same numbers", "Charts and numbers"
VISIT_COLUMNS = {"site": "Site", "on": "Day", "panels": "Panels read"}
SHARE_COLUMNS = {"interval": "Interval of", "source": "Source", "percent": "Share of variance, %"}
MOVED_COLUMNS = {
    "as_of": "Readings known until", "estimate": "A visit's reading", "lower": "From",
    "upper": "To", "later": "Read in the end",
}  # fmt: skip
ERRORS_ARE = "errors of forecasts against what was read later"
READ_OR_PROJECTED = "measured while it was read, projected after"
WIDTH_HEADING = "What makes the intervals at {months:g} months wide"
INTERVALS = {"state": "The mean", "reading": "A visit's reading of it"}
FROM = {
    "sites": "Course shared by all at the site",
    "curve": "Course of this formulation",
    "drift": "Slow loss that goes on",
    "panels": "Panels: how few, how read",
    "visits": "Weather and set-up of visits",
    "instrument": "Drift of the instrument",
}
REMEDY_COLUMNS = {
    "name": "What would narrow it", "state": "The mean: % of today's width",
    "reading": "A visit's reading: % of today's width",
}  # fmt: skip
HOW_NARROWED = (
    "Expected, not promised: worked out from the projection itself, without fitting again."
)
HEAT_HEADING = "In the sun at {months:g} months, calculated"
IN_THE_SUN = {
    "sri": "Solar reflectance index", "surface_temperature": "Surface temperature, medium wind",
}  # fmt: skip
HEAT_IS = (
    "Calculated draw by draw from the projected solar reflectance and {emittance}, under the "
    "standard conditions of ASTM E1980 (sun 1000 W/m2, air 37 °C, sky 27 °C, medium wind): "
    "not measured, no rating and no energy figure."
)
MARKS_DERIVED = (
    "The marks are readings of solar reflectance, each with the mean thermal emittance of its "
    "formulation."
)
WIDTH_DERIVED = (
    "Told of the solar reflectance behind it; the spread of the thermal emittance comes on top."
)
MOVED_HEADING = "How the projection to {months:g} months moved"
NOT_MOVED = "No visit came before that month."
WORK_OUT_MOVED = "Work out how it moved"
MOVED_TAKES = "Fits again as of each past visit: a while on so many readings. It is kept."
EVERY_SERIES = "Every site and formulation at {months:g} months"
NOTES_HEADING = "Notes"
SOURCES_HEADING = "Where the model's own numbers come from"
ENDS = {
    "estimate": "Mean", "lower": "Mean, from", "upper": "Mean, to",
    "reading_lower": "A visit's reading, from", "reading_upper": "A visit's reading, to",
}  # fmt: skip
CURVE_COLUMNS = {"months": "Months exposed", "kind": "Kind", **ENDS}
PROJECTION_COLUMNS = {
    "site": "Site", "formulation": "Formulation", **ENDS, "status": "Status",
    "n_panels": "Panels", "n_readings": "Readings", "observed_months": "Months read",
    "notes": "Notes",
}  # fmt: skip
PRIOR_COLUMNS = {
    "quantity": "Name in the table of priors", "value": "Value", "spread": "Spread", "unit": "Unit",
    "source": "Source",
}  # fmt: skip

SCORES_ARE = (
    "Each campaign is cut after some months, as if nothing had been read since; every later mean "
    "of a formulation at a site is forecast from what is left, then compared with what was read."
)
HELD_HEADING, ERROR_HEADING = "Did the intervals hold?", "How far off were the forecasts?"
BOARD_HEADING, SHOWN_BY = "The score board", "Rows by"
ROWS_BY = {
    "cut": "months known", "band": "months ahead", "site": "site", "formulation": "formulation",
}  # fmt: skip
FORECASTERS = {
    "model": "This program", "last value": "Last value kept", "exponential": "Exponential fit",
}  # fmt: skip
BOARD_COLUMNS = {
    "group": "Rows by", "forecaster": "Forecaster", "coverage": "Held", "coverage_lower": "From",
    "coverage_upper": "To", "below": "Below the bound", "abs_error": "Mean absolute error",
    "bias": "Bias", "crps": "CRPS", "interval_score": "Interval score", "n_series": "Series",
    "n_forecasts": "Readings",
}  # fmt: skip
HOW_TO_READ = """
- Held: share of the intervals that held the later reading. From and to: its 95 % Wilson range,
  which counts series (a formulation at a site in one campaign), for the readings of a series are
  not independent. Series of one campaign share its visits, so that the true range is wider still.
- Below the bound: share of readings under the one-sided 95 % lower bound; 0.05 is promised.
- Error, CRPS and interval score: the smaller the better. Bias: forecast minus reading.
- Last value kept: the last mean carried forward. Exponential fit: one curve a series by itself.
- `aging backtest` adds more cuts and more rivals.
"""

NOT_A_RATING = "A projection is not a rating."
CAUTIONS_HEADING = "Before you use a number"
CAUTIONS = """
- A projection is not a rating: only the body that issues ratings gives one.
- Building codes and programmes differ in what they ask for: check the edition that applies.
- Have every public claim reviewed by legal counsel first.
"""
STATES = {
    "as_exposed": "as exposed",
    "rinsed": "rinsed",
    "washed": "washed",
    "bleached": "bleached",
}


def percent(level: float) -> str:
    """0.9 as '90 %'."""
    return f"{100 * level:g} %"


def chance(share: float) -> str:
    """0.604 as '60 %'; never a bare 0 or 1."""
    shown = min(max(share, 0.01), 0.99)
    return f"{'under ' if share < shown else 'over ' if share > shown else ''}{100 * shown:.0f} %"


def settings(*, ahead: bool) -> str:
    """What the folded settings hold."""
    return "Property, months and level" if ahead else "Property and level"


def number(value: float, prop: Property, *, sign: bool = False) -> str:
    """A value to the decimals of its property."""
    if pd.isna(value):
        return "none"
    return f"{value:{'+' if sign else ''}.{prop.decimals}f}"


def measured(value: float, prop: Property, *, sign: bool = False) -> str:
    """A value with its unit: '14.2 gloss units'."""
    return number(value, prop, sign=sign) + ("" if pd.isna(value) else unit_after(prop))


def values(prop: Property, kind: str, level: float | None = None) -> str:
    """What the figures of a table are: quantity, unit, kind, level of their ends."""
    ends = f"; from and to: {percent(level)} interval" if level else ""
    return f"{quantity(prop)}, {kind}{ends}."


def site(name: str) -> str:
    """The name of a site as a person reads it."""
    return MEAN_OVER_SITES if name == "all" else name


def plural(count: int, one: str) -> str:
    """'1 panel', '3 panels'."""
    return f"{count:,} {one}" + ("" if count == 1 else "s")


def interval(row: pd.Series, prop: Property, of: str = "", *, sign: bool = False) -> str:
    """'0.655 to 0.760', of the columns `of`lower and `of`upper."""
    ends = [number(row[f"{of}{end}"], prop, sign=sign) for end in ("lower", "upper")]
    return " to ".join(ends)


def headline(row: pd.Series, quantity: str) -> str:
    """What the big numbers are: kind, quantity, unit, time."""
    kind = "Within the readings" if row["status"] == ALREADY else "Projected"
    return f"{kind}, at {row['months']:g} months: {quantity}"


def status(row: pd.Series) -> str:
    """Status, basis and notes of one series, a sentence a line."""
    notes = "" if pd.isna(row["notes"]) else str(row["notes"])
    basis = (
        f"{plural(int(row['n_panels']), 'panel')}, {plural(int(row['n_readings']), 'reading')} "
        f"over {row['observed_months']:.1f} months"
    )
    told = [f"Status: {row['status']}, from {basis}. {NOT_A_RATING}"]
    return "\n".join([*told, *map(as_sentence, filter(None, notes.split("; ")))])


def as_sentence(note: str) -> str:
    """A note as a sentence."""
    return f"{note[:1].upper()}{note[1:]}."


def projection(row: pd.Series, prop: Property, as_of: str | None) -> str:
    """The statement above the decay chart."""
    where = f"{row['formulation']}, {site(row['site'])}" + (f", as of {as_of}" if as_of else "")
    if pd.isna(row["estimate"]):
        return f"{where}: {row['status']}; the marks are the readings."
    return (
        f"{where}: mean {prop.within} {measured(row['estimate'], prop)} at "
        f"{row['months']:g} months ({row['status']}); {percent(row['level'])} interval "
        f"{interval(row, prop)}."
    )


def valued(row: pd.Series, prop: Property) -> str:
    """'84 (78 to 90)', '52.3 °C (50.4 to 54.1)'."""
    return f"{measured(row['estimate'], prop)} ({interval(row, prop)})"


def in_the_sun(rows: pd.DataFrame, months: float) -> dict[str, str]:
    """Figures of both derived properties at a month; rows by property and month."""
    level = percent(rows["level"].iloc[0])
    return {
        f"{label} ({level} interval)": valued(rows.loc[(name, months)], DERIVED[name])
        for name, label in IN_THE_SUN.items()
    }


def heat(rows: pd.DataFrame, emittance: str) -> str:
    """What both were when new, and how they are calculated."""
    new = [f"{prop.within} {valued(rows.loc[(name, 0)], prop)}" for name, prop in DERIVED.items()]
    return f"When new: {', '.join(new)}.\n{HEAT_IS.format(emittance=emittance)}"


def shares(found: pd.DataFrame) -> str:
    """The statement above the chart of shares: the three largest of the mean's interval."""
    mean = found[found["target"] == "state"].nlargest(3, "share")
    told = ", ".join(f"{row.source.lower()} {100 * row.share:.0f} %" for row in mean.itertuples())
    below = " A part left of 0 makes up for others." if found["share"].min() < -0.01 else ""  # noqa: PLR2004
    return f"Of the variance behind the interval of the mean: {told}.{below}"


def remedy(kind: str, amount: int) -> str:
    """'another visit at 24 months', '3 more panels of it', 'another site'."""
    if kind == "visit":
        return f"another visit at {amount} months"
    return f"{plural(amount, 'more panel')} of it" if kind == "panels" else "another site"


def narrowing(found: pd.DataFrame) -> str:
    """The sentence above the table of remedies, best first."""
    best = found.iloc[0]
    return (
        f"What would narrow the interval of the mean most: {best['name']}, to about "
        f"{best['state']:.0f} % of today's width."
    )


def moved(found: pd.DataFrame, prop: Property) -> str:
    """The statement above the chart of how a projection moved."""
    if found.empty:
        return NOT_MOVED
    width = found["upper"] - found["lower"]
    first, last, row = width.iloc[0], width.iloc[-1], found.iloc[0]
    text = (
        f"The {percent(row['level'])} interval of a visit's reading at {row['months']:g} months "
        f"was {measured(first, prop)} wide as of {row['as_of']} and {measured(last, prop)} as of "
        f"{found['as_of'].iloc[-1]}."
    )
    if pd.isna(row["later"]):
        return text
    held = int(found["later"].between(found["lower"], found["upper"]).sum())
    return f"{text} {held} of {len(found)} held the {measured(row['later'], prop)} read then."


def findings(found: pd.DataFrame) -> str:
    """The statement above the findings of the files."""
    rows = found[found["severity"] == "block"][["sheet", "row"]].drop_duplicates()
    return f"{plural(len(found), 'finding')} in the files; {plural(len(rows), 'row')} left out."


def visits(visits: pd.DataFrame) -> str:
    """The statement above the chart of visits."""
    return (
        f"{plural(len(visits), 'visit')} at {plural(visits['site'].nunique(), 'site')} from "
        f"{visits['on'].min():%Y-%m-%d} to {visits['on'].max():%Y-%m-%d}; "
        "a bar shows when panels were in the weather, a tick a visit."
    )


def held(board: pd.DataFrame, level: float) -> str:
    """The statement above the chart of coverage."""
    own = board[board["forecaster"] == FORECASTERS["model"]]
    shares = ", ".join(
        f"{100 * row.coverage:.0f} % with {row.cut:g} months known ({row.n_series} series)"
        for row in own.itertuples()
    )
    return f"Of this program's {percent(level)} intervals these held the later reading: {shares}."


def missed(board: pd.DataFrame, prop: Property) -> str:
    """The statement above the chart of errors."""
    parts = []
    for cut, rows in board.groupby("cut"):
        error = rows.set_index("forecaster")["abs_error"].dropna()
        others = error.drop(FORECASTERS["model"])
        rival = (
            f" ({others.idxmin().lower()}: {measured(others.min(), prop)})" if len(others) else ""
        )
        own = measured(error[FORECASTERS["model"]], prop)
        parts.append(f"{own}{rival} with {cut:g} months known")
    return (
        f"This program's mean absolute error in {prop.within} (the better rival's): "
        f"{', '.join(parts)}."
    )


def exposed(months: float) -> str:
    """'new', '18.1 months'."""
    told = f"{months:.1f}"
    return "new" if told == "0.0" else f"{told} months"


def is_sample(source: str) -> bool:
    """Whether the source is the shipped, invented sample."""
    return Path(source).stem == "sample_exposure"
