"""A dossier as PDF/UA-1 or as one HTML file that works offline; equal dossiers give equal bytes."""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

from aging.claims.dossiers.drawn import Fan
from aging.claims.dossiers.made import Dossier
from aging.fieldwork.paper import breakable, pages, printed, readable

WIDE, NARROW, HIGH = 720, 330, 300
RESTS = (
    "All of this was read from the store as it stood at this revision, and the store was found "
    "whole first. The digest stands for all that it held: made again from the same store, later "
    "readings or not, this dossier has the same bytes. Whether the claim still stands, aging watch "
    "tells."
)


def as_pdf(dossier: Dossier) -> bytes:
    """A4 pages, tagged (PDF/UA-1)."""
    import vl_convert

    facts = _plain({
        "title": dossier.title, "wording": dossier.claim.wording, "facts": dossier.facts,
        "cautions": dossier.cautions, "evidence": dossier.evidence, "rests": RESTS,
        "statement": dossier.fan.statement,
        "sections": [asdict(one) for one in dossier.sections],
    })  # fmt: skip
    # as PNG: PDF comes out otherwise each time, SVG needs fonts
    chart = vl_convert.vegalite_to_png(_spec(dossier.fan, WIDE), scale=3)
    rtl = _rightward(dossier.claim.wording)
    return printed(
        "dossier", facts | _colours() | {"chart": list(chart), "rtl": rtl}, accessible=True
    )


def as_html(dossier: Dossier) -> str:
    """One page with everything in it; nothing outside is asked for."""
    import vl_convert

    charts = {
        name: vl_convert.vegalite_to_svg(_spec(dossier.fan, width))
        for name, width in (("wide", WIDE), ("narrow", NARROW))
    }
    return pages().get_template("dossier.html").render(
        title=dossier.title, dossier=dossier, sections=dossier.sections, charts=charts,
        rests=RESTS, colours=_colours(),
    )  # fmt: skip


def _colours() -> dict[str, str]:
    from aging.charts import style

    return {"page": style.PAGE, "ink": style.INK, "muted": style.MUTED, "grid": style.GRID,
            "shade": style.WIDE_BAND, "warn": style.PALETTE[1]}  # fmt: skip


def _spec(fan: Fan, width: int) -> str:
    from aging.charts import decay_chart

    chart = decay_chart(
        fan.curve, fan.readings, fan.prop, at=fan.at, claimed=fan.claimed,
        description=fan.statement,
    )  # fmt: skip
    return json.dumps(chart.properties(width=width, height=HIGH).to_dict())


def _plain(value: Any) -> Any:
    """Texts that the printer's fonts have, with places to break long names."""
    if isinstance(value, str):
        return " ".join(breakable(readable(word)) for word in value.split(" "))
    if isinstance(value, dict):
        return {name: _plain(one) for name, one in value.items()}
    return [_plain(one) for one in value] if isinstance(value, Iterable) else value


def _rightward(text: str) -> bool:
    """Whether its first letter with a direction is written from right to left."""
    sides = (unicodedata.bidirectional(letter) for letter in text)
    return next((side for side in sides if side in {"L", "R", "AL"}), "L") != "L"
