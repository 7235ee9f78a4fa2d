"""Beside the forms of a visit: roofs, photos, what cannot be read, what was saved today."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pandas as pd
import streamlit as st

from aging.errors import AgingError
from aging.fieldwork import photos, visit
from aging.fieldwork.patches import WEIGHTING, Pyranometer, pyranometer
from aging.fieldwork.round_file import EVENTS
from aging.fieldwork.round_sheet import ToRead
from aging.fieldwork.spots import FEWEST, random_spots, typed
from aging.ledger import Ledger, open_ledger
from aging.vocabulary import PROPERTIES
from dashboard import entry, log, parts
from dashboard import log_words as wording
from dashboard.log_form import Entry, Form, finish, remark_key

MOST_SPOTS = 20


def roof(form: Form) -> None:
    """Random spots of a patch, and its reflectance by pyranometer."""
    panel, this = form.panel, form.this
    with st.expander(wording.ROOF):
        left, right = st.columns(2)
        width = left.number_input(wording.WIDTH, 0.5, 100.0, 2.0, 0.5, key="patch width")
        length = right.number_input(wording.LENGTH, 0.5, 100.0, 2.0, 0.5, key="patch length")
        seed, count = f"{panel.panel}/{this.day.on}", MOST_SPOTS if width * length >= 1 else FEWEST
        try:
            spots = random_spots(count, width, length, seed=seed)
        except AgingError as error:
            st.text(str(error))
        else:
            frame = pd.DataFrame(spots, columns=["width_m", "length_m"])
            frame["spot"] = range(1, count + 1)
            parts.table(frame, wording.SPOT_COLUMNS, decimals=2)
        _sun(form)


def _sun(form: Form) -> None:
    this = form.this
    form = replace(form, part="sun", mine=form.mine[form.mine["weighting"] == WEIGHTING])
    here = log.now(this.exposure, this.sheet.site)
    st.session_state.setdefault(form.key("at"), here.time().replace(second=0, microsecond=0))
    st.text_input(wording.PYRANOMETER, key="pyranometer", persist_state="session")
    st.time_input(wording.PYRANOMETER_AT, key=form.key("at"), step=60)
    st.text_input(wording.UP, key=form.key("up"), live=True)
    st.text_input(wording.DOWN, key=form.key("down"), live=True)
    try:
        read = _pairs(form)
    except AgingError as error:
        st.text(str(error))
    else:
        if read:
            st.text(wording.sun(read))
    finish(form, _under_the_sun)


def _pairs(form: Form) -> Pyranometer | None:
    up, down = (typed(form.get(name) or "") for name in ("up", "down"))
    if not (up and down):
        return None
    exposure = form.this.exposure
    site = log.facts(exposure.sites, "site", form.this.sheet.site)
    panel = log.facts(exposure.panels, "panel", form.panel.panel)
    return pyranometer(up, down, at=_moment(form), site=site, panel=panel)


def _moment(form: Form) -> str:
    return f"{form.this.day.on}T{form.get('at'):%H:%M}"


def _under_the_sun(form: Form) -> Entry | None:
    read = _pairs(form)
    if read is None:
        return None
    name = st.session_state.get("pyranometer", "")
    beside = {"pyranometer_up_W_m2": list(read.up), "pyranometer_down_W_m2": list(read.down),
              "sun_to_normal_deg": read.sun_deg}  # fmt: skip
    more = {"instrument": name.strip(), "weighting": WEIGHTING, "read_on": _moment(form)}
    return Entry(read.spots, more, beside)


def photographs(this: log.Round, panel: ToRead) -> None:
    """Photos of a panel side by side across visits, and a new one."""
    with st.expander(wording.PHOTO):
        count = (this.day.photos["panel"] == panel.panel).sum()
        given = st.file_uploader(
            wording.PHOTO_FILE, ("jpg", "jpeg", "png", "webp"), key=f"photo {panel.panel} {count}"
        )
        if given is not None:
            st.button(wording.KEEP_PHOTO, on_click=_keep, args=(this, panel, given.getvalue()))
        _told(f"photo {panel.panel}")
        rows = photos.across_visits(this.day.photos, panel.panel)
        if len(rows):
            try:
                with open_ledger(this.source) as book:
                    folder = photos.folder_of(book)
            except AgingError as error:
                st.text(str(error))
                return
            for column, (photo, on) in zip(
                st.columns(len(rows)), rows[["photo", "taken_on"]].itertuples(index=False),
                strict=True,
            ):  # fmt: skip
                file = photos.file_of(folder, photo)
                column.text(on[:10])
                if file.is_file():
                    column.image(str(file), width="stretch", alt=f"{panel.panel}, {on[:10]}")


def _keep(this: log.Round, panel: ToRead, data: bytes) -> None:
    def act(book: Ledger) -> None:
        remark = st.session_state.get(remark_key(panel)) or None
        at = f"{log.now(this.exposure, this.sheet.site):%Y-%m-%dT%H:%M}"
        photos.keep(book, data, panel.panel, taken_on=at, by=this.operator or "", remark=remark)

    _at_the_store(this, f"photo {panel.panel}", act)


def _at_the_store(this: log.Round, what: str, act: Callable[[Ledger], str | None]) -> None:
    """Do something in the store as the operator; what went wrong is told under `what`."""
    told: str | None = wording.NO_OPERATOR
    if this.operator:
        try:
            with entry.doing(this.source, "log", what) as book:
                told = act(book)
        except AgingError as error:
            told = str(error)
    st.session_state[f"told {what}"] = told


def _told(what: str) -> None:
    if told := st.session_state.get(f"told {what}"):
        st.text(told)


def not_read(this: log.Round, panel: ToRead) -> None:
    """Why a panel was not read."""
    with st.expander(wording.CANNOT_READ):
        why = st.segmented_control(wording.WHY_NOT, tuple(EVENTS), key=f"why {panel.panel}")
        if why:
            st.button(wording.SAY_SO, on_click=_say_so, args=(this, panel, why))
        _told(f"gone {panel.panel}")


def _say_so(this: log.Round, panel: ToRead, why: str) -> None:
    def act(book: Ledger) -> str:
        remark = st.session_state.get(remark_key(panel)) or ""
        return wording.findings(visit.cannot_read(
            book, panel.panel, why, on=this.day.on, by=this.operator or "", remark=remark,
            known=this.exposure,
        ))  # fmt: skip

    _at_the_store(this, f"gone {panel.panel}", act)


def today(this: log.Round) -> None:
    """What was saved today at the site, and how to put it right; nothing is deleted."""
    with parts.folded(wording.TODAY) as looks:
        if not looks:
            return
        rows = log.last_of(this.day, this.sheet)[::-1]
        if rows.empty:
            st.text(wording.NOTHING_SAVED)
            return
        labels = rows["property"].map({name: prop.label for name, prop in PROPERTIES.items()})
        states = rows["surface_state"].map(wording.plain)
        table = rows.assign(at=rows["read_on"].str[11:16], label=labels, surface_state=states)
        parts.table(table, wording.TODAY_COLUMNS, value="%g", spots="%d")
        shown = table.set_index("reading_id")
        which = st.selectbox(
            wording.WHICH, shown.index, index=None, key="put right",
            format_func=lambda one: " ".join(
                f"{part:g}" if isinstance(part, float) else str(part)
                for part in shown.loc[one, ["at", "panel", "label", "value", "operator"]]
            ),
        )  # fmt: skip
        if which is None:
            return
        reason = st.text_input(wording.LEAVE_REASON, key=f"leave {which}")
        st.button(wording.LEAVE_OUT, on_click=_leave_out, args=(this, which, reason))
        _told("right")
        st.button(wording.OPEN_PANEL, on_click=open_panel, args=(shown.loc[which, "panel"],))


def _leave_out(this: log.Round, which: str, reason: str) -> None:
    def act(book: Ledger) -> None:
        visit.leave_out(book, which, reason=reason, by=this.operator or "")

    _at_the_store(this, "right", act)


def open_panel(panel: str) -> None:
    """Go to a panel of the round."""
    st.query_params["panel"] = panel
