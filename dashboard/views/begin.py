"""A trial of one's own: a short form that makes a store with panels, racks and a plan of visits."""

from __future__ import annotations

import secrets
from datetime import UTC, datetime

import pandas as pd
import streamlit as st

from aging.errors import AgingError, require
from aging.fieldwork.new_trial import Trial
from aging.fieldwork.plan import MONTHS
from aging.optics.solar import WEIGHTINGS
from aging.vocabulary import ROLES
from dashboard import entry, start, start_parts
from dashboard import start_words as words

FIRST_SITES = pd.DataFrame({"site": ["SITE1"]}).reindex(columns=list(words.SITE_COLUMNS))
FIRST_FORMULATIONS = pd.DataFrame(
    {"formulation": ["CONTROL", "A"], "role": ["control", "candidate"]}
)


def sites() -> pd.DataFrame:
    """The table of sites."""
    st.text(words.ABOUT_SITES)
    text = dict.fromkeys(("name", "climate", "timezone"), "str")
    config = dict(words.SITE_COLUMNS) | {
        "climate": st.column_config.SelectboxColumn(
            words.SITE_COLUMNS["climate"], options=["hot-humid", "hot-dry", "temperate"]
        ),
        "latitude_deg": st.column_config.NumberColumn(
            words.SITE_COLUMNS["latitude_deg"], min_value=-90, max_value=90
        ),
        "longitude_deg": st.column_config.NumberColumn(
            words.SITE_COLUMNS["longitude_deg"], min_value=-180, max_value=180
        ),
    }
    return st.data_editor(FIRST_SITES.astype(text), num_rows="dynamic", hide_index=True,
                          column_config=config, key="sites of trial")  # fmt: skip


def formulations() -> pd.DataFrame:
    """The table of formulations, with the composition columns that were named."""
    st.text(words.ABOUT_ADDITIVES)
    named = st.text_input(words.ADDITIVES, placeholder=words.ADDITIVES_LIKE, key="additives")
    more = list(dict.fromkeys(one.strip() for one in named.split(",") if one.strip()))
    first = FIRST_FORMULATIONS.reindex(columns=[*words.FORMULATION_COLUMNS, *more])
    first = first.astype({"description": "str"} | dict.fromkeys(more, "float"))
    config = dict(words.FORMULATION_COLUMNS) | {
        "role": st.column_config.SelectboxColumn(
            words.FORMULATION_COLUMNS["role"], options=list(ROLES)
        )
    }
    st.text(words.ABOUT_FORMULATIONS)
    return st.data_editor(first, num_rows="dynamic", hide_index=True, column_config=config,
                          key=f"formulations with {named}")  # fmt: skip


def visits(text: str) -> list[float]:
    """The months of the plan; CallError where one is none."""
    parts = [one.strip() for one in text.split(",") if one.strip()]
    good = all(one.replace(".", "", 1).isdecimal() for one in parts)
    require(good, "months", text, "numbers such as 0, 1, 3, 6, 12")
    return [float(one) for one in parts]


st.title(words.BEGIN)
if not start.is_local():
    start_parts.ways_in()
    st.stop()
places, mixes = sites(), formulations()
st.text(words.ABOUT_PANELS)
boxes = st.columns(3)
replicates = boxes[0].number_input(words.REPLICATES, 1, 50, 3)
filed = boxes[1].number_input(words.FILED, 0, 10, 1)
rows = boxes[2].number_input(words.ROWS, 1, 50, 3)
today = datetime.now(UTC).date()
boxes = st.columns(3)
exposed = boxes[0].date_input(words.EXPOSED_ON, today, max_value=today)
tilt = boxes[1].number_input(words.TILT, 0.0, 90.0, 5.0, 1.0, format="%.0f")
azimuth = boxes[2].number_input(words.AZIMUTH, 0.0, 360.0, 180.0, 5.0, format="%.0f")
st.text(words.ABOUT_PLAN)
months = st.text_input(words.MONTHS, ", ".join(map(str, MONTHS)), key="months of visits")
st.text(words.ABOUT_INSTRUMENT)
boxes = st.columns(3)
reflectometer = boxes[0].text_input(words.REFLECTOMETER, key="reflectometer")
weighting = boxes[1].selectbox(words.WEIGHTING, [*WEIGHTINGS, words.OTHER_WEIGHTING])
due = boxes[2].date_input(words.CALIBRATION_DUE, None)
st.text(words.ABOUT_PLACE)
left, right = st.columns(2)
place = left.text_input(words.PLACE, start.free_place(), key="place of store")
by = right.text_input(words.BY, entry.name() or "", key="by of trial")
if st.button(words.MAKE_IT, type="primary"):
    try:
        trial = Trial(places, mixes, f"{exposed:%Y-%m-%d}", replicates, filed, rows,
                      visits(months), tilt, azimuth, secrets.randbelow(1_000_000), reflectometer,
                      words.stated(weighting), f"{due:%Y-%m-%d}" if due else "")  # fmt: skip
        made = start.make(trial, place, by)
    except AgingError as error:
        st.text(words.NOT_MADE + str(error))
    else:
        if made.blocked:
            start_parts.told(pd.DataFrame(one for one in made.findings if one.severity == "block"))
            st.stop()
        st.session_state[start.MADE] = True
        st.switch_page("views/ways.py")
