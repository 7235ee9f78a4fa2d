"""What holds for a whole round: who reads, the surface, the instruments, how ratings are made.

Chosen once a day, and taken over from what the person saved today, so that a page loaded anew or
opened by a panel's code asks for nothing twice.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd
import streamlit as st

from aging.fieldwork import visit
from aging.fieldwork.round_sheet import Rig, RoundSheet
from aging.vocabulary import PROPERTIES, SURFACE_STATES, WETNESS
from dashboard import entry, log
from dashboard import log_words as wording


def this_round(source: str, sheet: RoundSheet, day: visit.Day) -> log.Round:
    """Ask for what holds for the round."""
    saved, done = log.last_of(day, sheet), f"round {sheet.site} {day.on}"
    with st.expander(wording.ROUND, expanded=not st.session_state.get(done)):
        who = saved["operator"].dropna().unique().tolist()
        names = sorted({*sheet.operators, *who})
        asking = Asking(f"{sheet.site} {day.on}", {})
        past = who[0] if len(who) == 1 else None
        operator = entry.name() or asking.box(wording.OPERATOR, names, past)
        mine = saved[saved["operator"] == operator]
        surface = asking.row(wording.STATE, SURFACE_STATES, _last(mine["surface_state"]))
        wetness = asking.row(wording.WETNESS, WETNESS, _last(mine["surface_wetness"]))
        gear: dict[str, dict[str, str | float]] = {}
        for rig in sheet.rigs:
            used = mine.loc[mine["property"].isin(rig.properties), "instrument"]
            if chosen := _gear(asking, rig, _last(used)):
                gear |= dict.fromkeys(rig.properties, chosen)
        methods = {
            one.name: asking.row(wording.METHOD + one.label, one.methods, one.method)
            for one in sheet.properties if one.methods
        }  # fmt: skip
    measured = [name for rig in sheet.rigs for name in rig.properties]
    whole = all([operator, surface, wetness, *map(gear.get, measured)])
    if whole != bool(st.session_state.get(done)):
        st.session_state[done] = whole
        st.rerun()  # fold the choices away now: later the forms below would jump under a finger
    if operator and surface and wetness:
        st.text(wording.chosen(operator, surface, wetness, gear))
    return log.Round(
        source, log.known(source), sheet, day, operator, surface, wetness, gear, methods,
        asking.choices,
    )  # fmt: skip


@dataclass(frozen=True)
class Asking:
    """Choices that last for the session at one place, and begin with what was saved last."""

    where: str
    choices: dict[str, str | None]

    def box(self, what: str, options: Sequence[str], past: str | None) -> str | None:
        """One of the options, or a new one."""
        return self._asked(
            st.selectbox, what, past, options=options, index=None, accept_new_options=True,
            placeholder=wording.NEW_NAME,
        )  # fmt: skip

    def row(self, what: str, options: Sequence[str], past: str | None) -> str | None:
        """One of a few options."""
        return self._asked(
            st.segmented_control, what, past, options=options, format_func=wording.plain
        )

    def _asked(
        self, widget: Callable[..., str | None], what: str, past: str | None, **more: Any
    ) -> str | None:
        key = f"{what} {self.where}"
        if past and st.session_state.get(key) is None:
            st.session_state[key] = past
        self.choices[key] = widget(what, key=key, persist_state="session", **more)
        return self.choices[key]


def _gear(asking: Asking, rig: Rig, used: str | None) -> dict[str, str | float] | None:
    """Columns that the chosen instrument fills; a new one has its name alone."""
    options = {
        ", ".join(f"{value:g}°" if isinstance(value, float) else value for value in one.values()):
        dict(one) for one in rig.options
    }  # fmt: skip
    before = next((name for name, one in options.items() if one.get("instrument") == used), used)
    labels = ", ".join(PROPERTIES[name].label for name in rig.properties)
    chosen = asking.box(wording.INSTRUMENT + labels, list(options), before)
    return options.get(chosen, {"instrument": chosen}) if chosen else None


def _last(column: pd.Series) -> str | None:
    filled = column.dropna()
    return str(filled.iloc[-1]) if len(filled) else None
