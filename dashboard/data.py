"""Cached loaders: what the source holds, its fit and projection.

Every cache is keyed on the source and its mark: the ledger's revision, or the names, sizes and
times of the files. A new reading is therefore seen on the next run, and nothing is read twice.
Frames are handed out uncopied, a million readings among them: nobody changes one in place.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

import aging
from aging import intake, shelf
from aging.ledger import open_ledger
from aging.records import Exposure, Finding
from aging.source import is_store, open_source
from aging.vocabulary import DERIVED, property_named
from dashboard import attention, fits, tables, wording
from dashboard.launch import SOURCE

if TYPE_CHECKING:  # the rooms of the model take longer to load than a page that needs none of them
    from aging.backtesting import Backtest
    from aging.projection import Fit, Projection

OVERVIEW = "overview"
CUTS, RIVALS = (6, 12, 24), ("last value", "exponential")  # the rest takes minutes
RATING_LEVEL = 0.90
Mark = tuple[tuple[str, int, int], ...]


@dataclass(frozen=True)
class Opened:
    """A source as the pages see it; `findings` only where it is a folder or a workbook."""

    source: str
    mark: Mark
    exposure: Exposure
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Overview:
    """Frames of the overview, one a function of `tables` and `attention`."""

    sites: pd.DataFrame
    series: pd.DataFrame
    spans: pd.DataFrame
    visits: pd.DataFrame
    matters: pd.DataFrame


@dataclass(frozen=True)
class Width:
    """Frames of `aging.projection.shares` and `remedies`."""

    shares: pd.DataFrame
    remedies: pd.DataFrame


@dataclass(frozen=True)
class Heat:
    """State of both derived properties when new and aged; emittance of each formulation."""

    frame: pd.DataFrame
    emittances: dict[str, str]


def key_of(data: Opened) -> tuple[str, Mark]:
    """What a cache needs to know of a source."""
    return data.source, data.mark


def named_source() -> str | None:
    """The source of this session, of the environment, or the last that somebody opened here.

    The last keeps a page loaded anew and a label's code at what was opened before.
    """
    return st.session_state.get(SOURCE) or os.environ.get(SOURCE) or _last().get(SOURCE)


def name_source(source: str) -> None:
    """Use `source` for the rest of this session, and for new ones where nothing else is named."""
    st.session_state[SOURCE] = _last()[SOURCE] = source


@st.cache_resource
def _last() -> dict[str, str]:
    return {}


def mark_of(source: str) -> Mark:
    """What changes when the source's content does."""
    if is_store(source):
        with open_ledger(source) as ledger:
            return ((ledger.head, ledger.revision, 0),)
    path = Path(source)
    files = sorted(p for p in path.rglob("*") if p.is_file()) if path.is_dir() else [path]
    return tuple((str(p), p.stat().st_mtime_ns, p.stat().st_size) for p in files if p.exists())


def opened(source: str) -> Opened:
    """Read a source; AgingError where it cannot be read."""
    return _open(source, mark_of(source))


@st.cache_resource(show_spinner=wording.READING, max_entries=4)
def _open(source: str, mark: Mark) -> Opened:
    if is_store(source) or not Path(source).exists():
        return Opened(source, mark, open_source(source), ())
    taken = intake.read(source)
    return Opened(source, mark, taken.exposure, taken.findings)


@st.cache_resource(show_spinner=wording.READING, max_entries=4, hash_funcs={Opened: key_of})
def readings(data: Opened) -> pd.DataFrame:
    """Readings of panels in the weather, see `tables.readings`."""
    return tables.readings(data.exposure)


@st.cache_resource(show_spinner=wording.READING, max_entries=4, hash_funcs={Opened: key_of})
def overview(data: Opened, today: date) -> Overview:
    """What the overview shows, kept on the shelf."""
    code = [Path(str(room.__file__)).read_text() for room in (tables, attention, wording)]
    name = shelf.digest(data.mark, today, code)
    found = shelf.get(OVERVIEW, name)
    if found is None:
        made = _overview(data, today)
        shelf.put(OVERVIEW, name, shelf.Kept(frames=vars(made)))
        return made
    return Overview(**found.frames)


def _overview(data: Opened, today: date) -> Overview:
    read = readings(data)
    sites = tables.by_site(data.exposure, read, today)
    series = tables.by_series(data.exposure, read)
    return Overview(
        sites,
        series,
        tables.spans(data.exposure, read),
        tables.visits(read),
        attention.items(sites, series, read, tables.unread(data.exposure)),
    )


@st.cache_resource(show_spinner=wording.READING, max_entries=4, hash_funcs={Opened: key_of})
def measured(data: Opened) -> pd.DataFrame:
    """Spectra of panels in the weather, see `spectra.measured`."""
    from dashboard import spectra

    return spectra.measured(data.exposure)


@st.cache_resource(show_spinner=wording.READING, max_entries=4, hash_funcs={Opened: key_of})
def appearances(data: Opened) -> tuple[pd.DataFrame, list[str]]:
    """Colours and ratings that count, and notes, see `appearance.readings`."""
    from dashboard import appearance

    return appearance.readings(data.exposure)


@st.cache_resource(show_spinner=wording.FITTING, max_entries=32, hash_funcs={Opened: key_of})
def judged(data: Opened, site: str, trial: pd.Timestamp, name: str) -> pd.DataFrame:
    """Trends of a trial's ratings, see `appearance.judged`; CallError where there are none."""
    from dashboard import appearance

    rows = appearance.of_trial(appearances(data)[0], site, trial)
    formulations = data.exposure.formulations
    controls = formulations.loc[formulations["role"] == "control", "formulation"]
    return appearance.judged(appearance.ratings(rows, name), controls, RATING_LEVEL)


@st.cache_resource(show_spinner=wording.FITTING, max_entries=8)
def _fit(source: str, mark: Mark, prop: str, as_of: str | None = None) -> Fit:
    exposure = _open(source, mark).exposure
    if fits.is_long(exposure, prop):
        return fits.fit((source, mark, prop, as_of), exposure)
    return aging.fit(exposure, property=prop, as_of=as_of)


@st.cache_resource(show_spinner=wording.FITTING, max_entries=12, hash_funcs={Opened: key_of})
def fitted(data: Opened, prop: str, as_of: str | None = None) -> Fit:
    """The fit of a property, or of what it is derived from, told as it."""
    return _fit(data.source, data.mark, property_named(prop).read_as, as_of).told_as(prop)


@st.cache_resource(show_spinner=wording.READING, max_entries=8, hash_funcs={Opened: key_of})
def read(data: Opened, prop: str) -> pd.DataFrame:
    """Readings behind a fit as values of what is told, see `tables.readings`."""
    fit = fitted(data, prop)
    every = fit.exposure.readings
    mine = every[every["property"] == fit.gathered.property.name]
    frame = tables.readings(replace(fit.exposure, readings=mine))
    told = fit.of_readings(frame["value"].to_numpy(), frame["formulation"].tolist())
    return frame.assign(value=told)


@st.cache_resource(show_spinner=wording.READING, max_entries=512, hash_funcs={Opened: key_of})
def read_of(data: Opened, prop: str, site: str, formulation: str) -> pd.DataFrame:
    """Readings behind the projection of one series: of its latest campaign at each site."""
    own, rows = fitted_panels(data, prop, formulation), read(data, prop)
    return tables.series(rows[rows["panel"].isin(own)], site, formulation)


@st.cache_resource(show_spinner=wording.FITTING, max_entries=32, hash_funcs={Opened: key_of})
def projected(
    data: Opened, prop: str, months: tuple[float, ...], level: float, as_of: str | None = None
) -> Projection:
    """Projection of every series at `months`; ModelError where the data carry no model."""
    return fitted(data, prop, as_of).project(months, level)


@st.cache_resource(show_spinner=wording.FITTING, max_entries=32, hash_funcs={Opened: key_of})
def every_series(
    data: Opened, prop: str, months: float, level: float, as_of: str | None = None
) -> pd.DataFrame:
    """Every series at `months`, a row each with both intervals, in the order of pages."""
    return tables.in_order(tables.wide(projected(data, prop, (months,), level, as_of).frame))


@st.cache_resource(show_spinner=wording.FITTING, max_entries=512, hash_funcs={Opened: key_of})
def course(
    data: Opened, prop: str, months: tuple[float, ...], levels: tuple[float, ...],
    formulations: tuple[str, ...], *, as_of: str | None = None,
) -> pd.DataFrame:  # fmt: skip
    """Rows of a projection of some formulations; ModelError where the data carry no model."""
    return fitted(data, prop, as_of).only(formulations).project(months, levels).frame


@st.cache_resource(show_spinner=wording.FITTING, max_entries=128, hash_funcs={Opened: key_of})
def heat(
    data: Opened, months: float, level: float, formulation: str, as_of: str | None = None
) -> Heat:
    """SRI and surface temperature of a formulation's projected reflectance, new and at `months`."""
    told = [fitted(data, name, as_of).only([formulation]) for name in DERIVED]
    frame = pd.concat([one.project([0.0, months], level).frame for one in told])
    known = {} if told[0].balance is None else told[0].balance.emittances
    return Heat(frame[frame["target"] == "state"], {name: str(one) for name, one in known.items()})


@st.cache_resource(show_spinner=wording.FITTING, max_entries=128, hash_funcs={Opened: key_of})
def width(
    data: Opened, prop: str, months: float, formulation: str, as_of: str | None = None
) -> Width:
    """What the intervals' width is made of in a formulation's campaigns, and what narrows it."""
    from aging.projection import parts_of, remedies, shares

    fit = beside(fitted(data, prop, as_of), formulation)
    of_each = parts_of(fit, months)
    return Width(
        shares(fit, months, formulation, of_each), remedies(fit, months, formulation, of_each)
    )


def beside(fit: Fit, formulation: str) -> Fit:
    """The series of every campaign that a formulation hangs in."""
    named = {id(one.campaign) for one in fit.series if one.formulation == formulation}
    return replace(fit, series=tuple(one for one in fit.series if id(one.campaign) in named))


@st.cache_resource(show_spinner=wording.SCORING, max_entries=16, hash_funcs={Opened: key_of})
def backtested(data: Opened, prop: str, level: float) -> Backtest:
    """Forecasts of what was read later; ModelError where no campaign was read after a cut."""
    return aging.backtest(data.exposure, prop, CUTS, level, rivals=RIVALS)


def fitted_panels(data: Opened, prop: str, formulation: str) -> frozenset[str]:
    """Panels behind a formulation's projection: those of its latest campaign at each site."""
    series = fitted(data, prop).series
    return frozenset(p for s in series if s.formulation == formulation for p in s.campaign.panels)
