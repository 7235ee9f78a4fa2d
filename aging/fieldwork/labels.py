"""Panel labels: a sheet of stickers whose QR code opens the panel's entry page.

Codes are of error correction level H, which still reads with about 30 % of them worn or dirty. A
blind label names neither panel nor formulation to the eye, but a code of its own.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from io import BytesIO
from urllib.parse import quote, urlsplit

import pandas as pd

from aging.errors import require
from aging.fieldwork.paper import breakable, printed

GRID = (3, 8)  # of an A4 sheet: 70 x 37 mm
FINEST = (5, 13)
SHORTEST = 5
LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"  # none is taken for another


def entry_address(address: str, panel: str) -> str:
    """Where a panel's readings are entered on the dashboard at `address` (http://host:port)."""
    parts = urlsplit(address)
    ok = parts.scheme in ("http", "https") and parts.netloc and not (parts.query or parts.fragment)
    require(bool(ok), "address", address, "the dashboard's own, such as http://rack-pc:8501")
    return f"{address.rstrip('/')}/log?panel={quote(panel, safe='')}"


def label_sheet(
    panels: pd.DataFrame, address: str, *, blind: bool = False, grid: tuple[int, int] = GRID
) -> bytes:
    """PDF with a label for each row of `panels` (columns panel, site, formulation), in order.

    grid: columns and rows of labels on an A4 sheet. CallError for an address that is none.
    """
    fits = all(0 < count <= most for count, most in zip(grid, FINEST, strict=True))
    require(fits, "grid", grid, f"up to {FINEST[0]} columns and {FINEST[1]} rows")
    require(len(panels) > 0, "panels", "none", "at least one panel to label")
    codes = blind_codes(panels["panel"].tolist())
    labels = []
    for panel, site, formulation in panels[["panel", "site", "formulation"]].itertuples(
        index=False
    ):
        url = entry_address(address, panel)
        shown, lines = (codes[panel], [site]) if blind else (panel, [formulation, site])
        labels.append({"id": breakable(shown), "lines": [breakable(one) for one in lines],
                       "address": url, "code": _qr(url)})  # fmt: skip
    return printed("labels", {"grid": grid, "labels": labels})


def blind_codes(panels: Sequence[str]) -> dict[str, str]:
    """A short code for each panel that says nothing of it; long enough that no two are alike."""
    whole = {panel: _code(panel) for panel in panels}
    size = SHORTEST
    while len({code[:size] for code in whole.values()}) < len(whole):
        size += 1
    return {panel: code[:size] for panel, code in whole.items()}


def _code(panel: str) -> str:
    number, text = int.from_bytes(hashlib.sha256(panel.encode()).digest()), ""
    while number:
        number, place = divmod(number, len(LETTERS))
        text += LETTERS[place]
    return text


def _qr(text: str) -> str:
    import segno

    picture = BytesIO()
    segno.make(text, error="h", micro=False).save(picture, kind="svg", border=4)
    return picture.getvalue().decode()
