"""The form of one reading: typed, worked out, questioned, saved by its own button.

The token is bound to the button when it is drawn: a second tap on the same drawing comes back with
the same token. What is saved is what stands in the form when the tap comes in, never what was drawn
before. A commit opens the next form, whose widgets are new; nothing else empties one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd
import streamlit as st

from aging.checks.table import MEASURED
from aging.errors import AgingError
from aging.fieldwork.doubts import Doubt, doubts
from aging.fieldwork.round_sheet import Asked, ToRead
from aging.fieldwork.spots import Spots, typed
from aging.intake.readings import MEANT_AS_PERCENT
from aging.vocabulary import BLISTER_FREQUENCIES
from dashboard import log
from dashboard import log_words as wording


@dataclass(frozen=True)
class Form:
    """A property of a panel in a round, with the token of its next reading.

    mine: what was read of it today. number: of the form in this session. part: tells two forms of
    one property apart.
    """

    this: log.Round
    asked: Asked
    panel: ToRead
    token: str
    mine: pd.DataFrame
    number: int
    part: str = ""

    def key(self, name: str) -> str:
        """Key of a widget that is new after each commit."""
        return f"{name} {self.part} {self.count} {self.number}"

    @property
    def count(self) -> str:
        """Where the session counts the forms of this property and panel."""
        return f"forms of {self.asked.name} on {self.panel.panel}"

    def get(self, name: str) -> Any:
        """What a widget of this form holds."""
        return st.session_state.get(self.key(name))

    def tell(self, text: str) -> None:
        """Say something under the button; an empty text takes it away."""
        st.session_state[self.key("told")] = text


def form_of(this: log.Round, asked: Asked, panel: ToRead) -> Form:
    """Form of a property on a panel."""
    mine = this.day.of(panel.panel, asked.name, this.surface_state or "")
    form = Form(this, asked, panel, this.token(panel.panel, asked.name), mine, 0)
    return replace(form, number=st.session_state.setdefault(form.count, 0))


@dataclass(frozen=True)
class Entry:
    """What a form holds: spots, columns in place of the instrument's own, facts to keep beside."""

    spots: Spots
    more: Mapping[str, Any] = field(default_factory=dict)
    beside: Mapping[str, Any] = field(default_factory=dict)


def property_form(form: Form) -> None:
    """Spots or a rating of one property, and the button that saves it."""
    asked = form.asked
    with st.container(border=True):
        if asked.steps:
            show = "{:g}".format
            st.pills(wording.label(asked), asked.steps, key=form.key("typed"), format_func=show)
            if asked.name == "blistering":
                st.pills(wording.FREQUENCY, BLISTER_FREQUENCIES, key=form.key("frequency"))
        else:
            _spots(form)
        finish(form, _entered)


def _entered(form: Form) -> Entry | None:
    """What stands in the form now; CallError for what is no number."""
    given = form.get("typed")
    values = typed(given or "") if not form.asked.steps else () if given is None else (given,)
    return Entry(Spots(tuple(map(float, values)))) if values else None


def _spots(form: Form) -> None:
    asked = form.asked
    st.text_input(
        wording.label(asked), key=form.key("typed"), live=True,
        placeholder=wording.spots_like(asked), autocomplete="off",
    )  # fmt: skip
    try:
        entry = _entered(form)
    except AgingError as error:
        st.text(str(error))
        return
    spots = entry and entry.spots
    st.text(wording.worked(asked, spots, form.panel))
    if spots is None:
        return
    above, most = MEANT_AS_PERCENT
    if asked.unit == "fraction" and any(above < value <= most for value in spots.each):
        st.button(wording.DIVIDE, key=form.key("divide"), on_click=_divide, args=(form, spots))
    if form.panel.kind == "roof_patch" and asked.name == MEASURED:
        st.text(wording.enough(spots))


def _divide(form: Form, spots: Spots) -> None:
    above = MEANT_AS_PERCENT[0]
    mended = (f"{value / 100 if value > above else value:.12g}" for value in spots.each)
    st.session_state[form.key("typed")] = " ".join(mended)


def finish(form: Form, read: Callable[[Form], Entry | None]) -> None:
    """What was read today, Save, and what is still to answer.

    read: the form's entry, asked for again by the tap: what was typed since the page was drawn
    comes with it. CallError where it cannot be read.
    """
    for _, row in form.mine.iterrows():
        st.text(wording.saved(row, form.asked))
    if len(form.mine):
        ways = (wording.ANOTHER, wording.CORRECT)
        if st.segmented_control(wording.AGAIN, ways, key=form.key("how")) == wording.CORRECT:
            st.text_input(wording.REASON, key=form.key("reason"))
    st.button(
        wording.SAVE, key=form.key("save"), type="primary", width="stretch", on_click=_save,
        args=(form, read),
    )  # fmt: skip
    if told := form.get("told"):
        st.text(told)
    try:
        entry = read(form)
    except AgingError:
        return
    for doubt in _doubts(form, entry) if entry else ():
        st.text(wording.question(doubt))
        st.selectbox(
            wording.KEEP, wording.REASONS, index=None, key=form.key(f"kept {doubt.rule}"),
            accept_new_options=True, placeholder=wording.NEW_NAME,
        )  # fmt: skip


def _doubts(form: Form, entry: Entry) -> tuple[Doubt, ...]:
    this = form.this
    if form.asked.unit == "fraction" and entry.spots.mean > MEANT_AS_PERCENT[0]:
        return ()
    return doubts(
        form.asked, form.panel, entry.spots, surface_state=this.surface_state or "",
        surface_wetness=this.surface_wetness or "",
    )  # fmt: skip


def _missing(form: Form, entry: Entry) -> list[str]:
    """What must be chosen before this reading can be saved."""
    this, asked = form.this, form.asked
    gear = {**this.gear.get(asked.name, {}), **entry.more}
    wanted = {
        wording.OPERATOR: this.operator, wording.STATE: this.surface_state,
        wording.WETNESS: this.surface_wetness,
        wording.INSTRUMENT + asked.label: asked.steps or gear.get("instrument"),
        wording.METHOD + asked.label: not asked.methods or this.methods.get(asked.name),
    }  # fmt: skip
    return [name for name, value in wanted.items() if not value]


def _save(form: Form, read: Callable[[Form], Entry | None]) -> None:
    """Save what stands in the form now; told under the button where it does not go in."""
    try:
        form.tell(_saved(form, read(form)))
    except AgingError as error:
        form.tell(wording.REFUSED + str(error))


def _saved(form: Form, entry: Entry | None) -> str:
    """Why it did not go in; empty where it did."""
    if entry is None:
        return wording.NO_VALUE
    if any(st.session_state.get(key) != choice for key, choice in form.this.choices.items()):
        return wording.CHANGED
    if missing := _missing(form, entry):
        return wording.lacking(missing)
    how, reason = form.get("how"), (form.get("reason") or "").strip()
    if how == wording.CORRECT and not reason:
        return wording.NO_REASON
    asked = _doubts(form, entry)
    kept = {one.rule: (form.get(f"kept {one.rule}") or "").strip() for one in asked}
    if not all(kept.values()):
        return wording.UNANSWERED
    facts = {
        **entry.more, "kept": [{"rule": rule, "reason": why} for rule, why in kept.items()],
        "remark": st.session_state.get(remark_key(form.panel)) or "",
        "blister_frequency": form.get("frequency"),
    }  # fmt: skip
    if how == wording.CORRECT:
        facts |= {"supersedes": form.mine["reading_id"].iloc[-1], "reason": reason}
    row = log.reading(form.this, form.asked, form.panel, entry.spots, facts)
    another = how == wording.ANOTHER
    saved = log.save(form.this, row, form.token, another=another, beside=entry.beside)
    if saved.state in ("stored", "already"):
        st.session_state[form.count] = form.number + 1
    told = {"asks": wording.ASKS, "differs": wording.DIFFERS}.get(saved.state)
    return told or wording.findings(saved.findings)


def remark_key(panel: ToRead) -> str:
    """Key of the remark on a panel."""
    return f"remark {panel.panel}"
