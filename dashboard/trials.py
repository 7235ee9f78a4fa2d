"""Cached results behind the pages that compare: differences, parts, ranks, guard-rails, additives.

Keyed as in `data`, on the source and its mark.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd
import streamlit as st

from aging.comparison import Comparison, differences, origins, ranks
from aging.comparison.dose import DoseResponse, dose_response
from aging.comparison.factorial import Factorial, cells, factorial
from aging.comparison.guards import NOT_READ, failing, guards
from aging.comparison.lead import Lead, leads
from aging.comparison.poolability import poolability
from aging.intake import composition
from dashboard import data, trial_wording, wording
from dashboard.data import Opened, key_of

HASHED = {Opened: key_of}


@st.cache_resource(show_spinner=wording.READING, max_entries=4, hash_funcs=HASHED)
def guarded(opened: Opened) -> pd.DataFrame:
    """Verdicts of the guard-rails that were read, failures first: `aging.comparison.guards`."""
    found = guards(opened.exposure)
    return found[found["verdict"] != NOT_READ].sort_values("verdict", kind="stable")


def failed(opened: Opened) -> dict[str, tuple[str, ...]]:
    """Properties that each formulation fails."""
    return failing(guarded(opened))


@st.cache_resource(show_spinner=wording.FITTING, max_entries=32, hash_funcs=HASHED)
def compared(
    opened: Opened, prop: str, months: float, level: float, amount: float | None = None
) -> Comparison:
    """Differences to the control at `months` and over the months to it; ModelError without one.

    amount: that matters, also the margin of as good as; None, or 0 of the margin: the property's.
    """
    return differences(
        data.fitted(opened, prop), months, level, worthwhile=amount, margin=amount or None,
        period=(0, months), failing=failed(opened),
    )  # fmt: skip


@st.cache_resource(show_spinner=wording.FITTING, max_entries=32, hash_funcs=HASHED)
def parts_of(opened: Opened, prop: str, months: float, level: float) -> pd.DataFrame:
    """Where differences come from; CallError of a property that is calculated."""
    return origins(data.fitted(opened, prop), months, level)


@st.cache_resource(show_spinner=wording.FITTING, max_entries=16, hash_funcs=HASHED)
def averaged(opened: Opened, prop: str) -> pd.DataFrame:
    """Whether batches and sites may be averaged, see `aging.comparison.poolability`."""
    return poolability(data.fitted(opened, prop))


@st.cache_resource(show_spinner=wording.FITTING, max_entries=32, hash_funcs=HASHED)
def ranked(opened: Opened, prop: str, months: float) -> pd.DataFrame:
    """Chance of each rank, of those that fail no guard-rail; ModelError where none is left."""
    return ranks(data.fitted(opened, prop), months, without=failed(opened))


@st.cache_resource(show_spinner=wording.FITTING, max_entries=16, hash_funcs=HASHED)
def effects(opened: Opened, prop: str, months: float, level: float) -> Factorial:
    """Effects of composition; ModelError where no two differ in one additive alone."""
    doses = composition(opened.exposure.formulations)
    return factorial(data.fitted(opened, prop), doses, months, level)


@st.cache_resource(show_spinner=wording.FITTING, max_entries=32, hash_funcs=HASHED)
def by_composition(
    opened: Opened, prop: str, months: float, level: float, figure: str
) -> pd.DataFrame:
    """A figure of every composition, see `aging.comparison.factorial.cells`."""
    doses = composition(opened.exposure.formulations)
    return cells(data.fitted(opened, prop), doses, months, level, figure=figure)


@st.cache_resource(show_spinner=wording.FITTING, max_entries=32, hash_funcs=HASHED)
def along(
    opened: Opened, prop: str, months: float, level: float, *, figure: str, additive: str
) -> DoseResponse:
    """A figure along the doses of an additive, the others at their lowest."""
    doses = composition(opened.exposure.formulations)
    return dose_response(data.fitted(opened, prop), doses, additive, months, level, figure=figure)


@st.cache_resource(show_spinner=wording.FITTING, max_entries=32, hash_funcs=HASHED)
def leading(opened: Opened, prop: str, months: float, level: float) -> tuple[Lead, ...]:
    """The lead of each trial among those that fail no guard-rail."""
    return leads(data.fitted(opened, prop), months, level, without=failed(opened))


def places(found: pd.DataFrame) -> pd.DataFrame:
    """Chance of each rank in per cent: a row a formulation, a column a rank."""
    wide = found.assign(percent=100 * found["probability"]).pivot_table(
        index="formulation", columns="rank", values="percent"
    )
    return wide.rename(columns=str).reset_index()


def told(fails: Mapping[str, Sequence[str]]) -> str:
    """'S8H30 (elongation at break, flaking)', of all that fail."""
    return ", ".join(
        f"{name} ({', '.join(map(trial_wording.brief, why))})"
        for name, why in sorted(fails.items())
    )
