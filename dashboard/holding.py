"""What the product manager's first page shows: claims, trouble first, and what they wait for."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
import streamlit as st

from aging.claims import Watched, watch
from dashboard import data, hold_words, keeping

ORDER = tuple(hold_words.STATES)


@st.cache_resource(show_spinner=hold_words.WATCHING, max_entries=4, hash_funcs=keeping.BY_SOURCE)
def watched(opened: data.Opened) -> tuple[Watched, ...]:
    """Every standing claim as the readings tell it now, trouble first."""
    return tuple(sorted(watch(opened.exposure), key=lambda one: ORDER.index(one.state)))


def in_figures(found: Sequence[Watched]) -> pd.DataFrame:
    """The claims as a table of figures; `hold_words.COLUMNS`."""
    return pd.DataFrame([
        {
            "state": one.state, "formulation": one.claim.formulation,
            "quantity": one.claim.criterion or one.claim.property.replace("_", " "),
            "months": one.claim.months, "value": one.claim.value, "now": one.estimate,
            "kind": "measured" if pd.notna(one.measured) else "projected",
            "failing": 100 * one.probability_failing, "breaks": one.breaks_at,
        }
        for one in found
    ])  # fmt: skip


def waited_for(found: Sequence[Watched], opened: data.Opened, plan: pd.DataFrame) -> pd.DataFrame:
    """The next visit at each site of a claim, with the formulations that it tells of."""
    panels = opened.exposure.panels[["formulation", "site", "exposed_on"]].drop_duplicates()
    claimed = [(one.claim.formulation, site) for one in found for site in one.claim.sites]
    mine = panels.merge(pd.DataFrame(claimed, columns=["formulation", "site"]).drop_duplicates())
    mine["exposed_on"] = pd.to_datetime(mine["exposed_on"].str[:10])
    ahead = plan[plan["state"].isin(["overdue", "due", "to come"])]
    rows = ahead.merge(mine, on=["site", "exposed_on"]).sort_values("due_on")
    each = rows.groupby(["site", "exposed_on", "due_on", "opens_on", "months"], as_index=False)
    told = each.agg(formulations=("formulation", lambda names: ", ".join(sorted(set(names)))))
    return told.sort_values("due_on").drop_duplicates("site")
