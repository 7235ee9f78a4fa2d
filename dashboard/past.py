"""How projections moved: a fit for every past visit.

On a large ledger that takes many seconds, so that somebody has to ask for it there; it is kept on
the shelf. Each fit that is done is told to the page, which can leave off between two.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pandas as pd
import streamlit as st

from aging import shelf
from aging.vocabulary import property_named
from dashboard import data, fits, wording

KIND, MOST = "moved", 16  # frames in memory


def moved(
    opened: data.Opened, prop: str, months: tuple[float, ...], level: float, formulation: str,
    *, asked: Callable[[], bool] = bool,
) -> pd.DataFrame | None:  # fmt: skip
    """Rows of `aging.projection.movement` for a formulation's latest campaigns.

    None where they take long to make and nobody has asked for them (`bool` asks never).
    """
    series = data.fitted(opened, prop).series
    named = {id(one.campaign) for one in series if one.formulation == formulation}
    together = sorted({one.formulation for one in series if id(one.campaign) in named})
    name = shelf.digest(*data.key_of(opened), prop, months, level, together)
    known = _known()
    if name not in known:
        kept = shelf.get(KIND, name)
        if kept is None:
            long = fits.is_long(opened.exposure, property_named(prop).read_as)
            if long and not asked():
                return None
            kept = shelf.Kept(frames={KIND: _reckoned(opened, prop, months, level, together)})
            shelf.put(KIND, name, kept)
        known[name] = kept.frames[KIND]
        while len(known) > MOST:
            known.pop(next(iter(known)))
    return known[name]


@st.cache_resource
def _known() -> dict[str, pd.DataFrame]:
    return {}


def _reckoned(
    opened: data.Opened, prop: str, months: tuple[float, ...], level: float, together: list[str]
) -> pd.DataFrame:
    from aging.projection import movement

    fit, bar = data.fitted(opened, prop), st.empty()
    chosen = tuple(one for one in fit.series if one.formulation in together)

    def told(done: int, of: int) -> None:
        bar.progress(done / of, wording.MOVING.format(done=done, of=of))

    frame = movement(replace(fit, series=chosen), months, level, on_progress=told)
    bar.empty()
    return frame
