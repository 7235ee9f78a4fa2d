"""Where each panel hangs: positions drawn by lot, formulations spread over the rows of a rack.

Rows are blocks, as the lowest row and the ends get dirtier: each holds as nearly as may be the
same number of panels of each formulation. From a random order random swaps are kept while they
bring that nearer and part neighbours (beside, above, below) of one formulation. Equal seeds give
equal maps. Practice: common, no source.
"""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from aging.errors import require
from aging.fieldwork.paper import breakable, printed

SWAPS = 20_000
TOUCH = 0.1  # what two neighbours of one formulation weigh against one panel too many in a row
SPARE = -1
COLUMNS = ("rack", "position", "row", "column", "panel", "formulation", "spare")
Grid = npt.NDArray[np.int64]


def rack_map(
    panels: pd.DataFrame, rows: int, columns: int, *, seed: int, rack: str = ""
) -> pd.DataFrame:
    """A row for each position (COLUMNS) of a rack, from its upper left; spare ones name no panel.

    panels: columns panel, formulation. Row 1 is the uppermost, position r1c1 its left end.
    CallError where there are more panels than positions, or a panel stands twice.
    """
    require(min(rows, columns) > 0, "rows and columns", (rows, columns), "1 or more")
    places = rows * columns
    require(0 < len(panels) <= places, "panels", len(panels), f"1 to {places}, a position each")
    twice = panels.loc[panels["panel"].duplicated(), "panel"].tolist()
    require(not twice, "panels", ", ".join(map(str, twice)), "each panel once")
    codes, names = pd.factorize(panels["formulation"])
    grid = np.full(places, SPARE)
    grid[: codes.size] = codes
    lot = np.random.default_rng(seed)
    grid = _spread(lot.permutation(grid).reshape(rows, columns), len(names), lot).ravel()
    hung = np.full(places, SPARE)
    for code in range(len(names)):
        hung[grid == code] = lot.permutation(np.flatnonzero(codes == code))
    row, column = np.divmod(np.arange(places), columns)
    chosen = panels[["panel", "formulation"]].reset_index(drop=True).reindex(hung)
    return pd.DataFrame({
        "rack": rack, "position": [f"r{r + 1}c{c + 1}" for r, c in zip(row, column, strict=True)],
        "row": row + 1, "column": column + 1, "panel": chosen["panel"].array,
        "formulation": chosen["formulation"].array, "spare": hung == SPARE,
    })  # fmt: skip


def new_panels(
    site: str, formulations: Sequence[str], replicates: int, exposed_on: str = ""
) -> pd.DataFrame:
    """Rows (panel, formulation, site, exposed_on, replicate) of new panels: SITE-NAME-1, ..."""
    require(replicates > 0, "replicates", replicates, "1 or more")
    rows = [(f"{site}-{name}-{k}", name, site, exposed_on, k)
            for name in formulations for k in range(1, replicates + 1)]  # fmt: skip
    return pd.DataFrame(rows, columns=["panel", "formulation", "site", "exposed_on", "replicate"])


def positioned(panels: pd.DataFrame, hung: pd.DataFrame) -> pd.DataFrame:
    """The rows of `panels` with rack and position of the map, to give back as panels.csv."""
    place = hung[~hung["spare"]].set_index("panel")[["rack", "position"]]
    return panels.drop(columns=["rack", "position"], errors="ignore").join(place, on="panel")


def as_hung(panels: pd.DataFrame) -> pd.DataFrame:
    """The map (COLUMNS) of panels whose positions are r1c1 ...; empty where one is not."""
    place = panels["position"].str.extract(r"^r(\d+)c(\d+)$").astype(float)
    if panels.empty or place.isna().any(axis=None):
        return pd.DataFrame(columns=list(COLUMNS))
    rows, columns = (int(most) for most in place.max())
    every = pd.MultiIndex.from_product([range(1, rows + 1), range(1, columns + 1)])
    facts = panels[["rack", "panel", "formulation"]].set_index(pd.MultiIndex.from_frame(place))
    hung = facts.reindex(every.set_names(["row", "column"])).reset_index()
    position = "r" + hung["row"].astype("str") + "c" + hung["column"].astype("str")
    return hung.assign(position=position, spare=hung["panel"].isna())[list(COLUMNS)]


def draw_rack(hung: pd.DataFrame, title: str, told: str, out: str | Path) -> None:
    """Write the map as .pdf, .svg or .html, one A4 page."""
    path = Path(out)
    require(
        path.suffix in (".pdf", ".svg", ".html"), "out", path.name, "a .pdf, .svg or .html file"
    )
    path.write_bytes(rack_page(hung, title, told, path.suffix))


def rack_page(hung: pd.DataFrame, title: str, told: str, suffix: str = ".pdf") -> bytes:
    """The map on one page (.pdf, .svg or .html); formulations by shade and by name."""
    from aging.charts.style import BAND, GRID, INK, INNER_BAND, PAGE, WIDE_BAND

    shades = (PAGE, WIDE_BAND, BAND, GRID, INNER_BAND)
    names = list(dict.fromkeys(hung["formulation"].dropna().sort_values()))
    cells = [
        [_cell(one, names, shades) for one in row.to_dict("records")]
        for _, row in hung.groupby("row")
    ]
    facts = {"title": title, "told": told, "ink": INK, "rows": cells}
    picture = printed("rack", facts, "pdf" if suffix == ".pdf" else "svg")
    if suffix == ".html":
        listed = "; ".join(hung["position"] + " " + hung["panel"].fillna("spare"))
        named = f'<svg role="img" aria-label="{html.escape(listed)}"'
        body = picture.decode().replace("<svg", named, 1)
        head = f"<meta charset=utf-8><title>{html.escape(title)}</title>"
        picture = f"<!doctype html><html lang=en>{head}<body>{body}</body></html>".encode()
    return picture


def _cell(
    place: Mapping[Any, object], names: Sequence[str], shades: Sequence[str]
) -> dict[str, object]:
    spare = bool(place["spare"])
    name = "" if spare else str(place["formulation"])
    return {
        "position": str(place["position"]), "spare": spare, "formulation": name or "spare",
        "panel": "" if spare else breakable(str(place["panel"])),
        "colour": shades[names.index(name) % len(shades)] if name else shades[0],
    }  # fmt: skip


def _spread(grid: Grid, kinds: int, lot: np.random.Generator) -> Grid:
    """Swap two positions at random, while it helps or at least does no harm, until all is well."""
    cost, flat = _cost(grid, kinds), grid.ravel()
    for one, other in lot.integers(0, flat.size, (SWAPS, 2)):
        if cost == 0:
            break
        if flat[one] != flat[other]:
            flat[[one, other]] = flat[[other, one]]
            now = _cost(grid, kinds)
            if now <= cost:
                cost = now
            else:
                flat[[one, other]] = flat[[other, one]]
    return grid


def _cost(grid: Grid, kinds: int) -> float:
    """Panels beyond an even share of the rows, and neighbours of one formulation."""
    counts = (grid[:, :, None] == np.arange(kinds)).sum(axis=1)
    total = counts.sum(axis=0)
    uneven = np.maximum(counts - np.ceil(total / len(grid)), 0) + np.maximum(
        total // len(grid) - counts, 0
    )
    beside = ((grid[:, 1:] == grid[:, :-1]) & (grid[:, 1:] != SPARE)).sum()
    above = ((grid[1:] == grid[:-1]) & (grid[1:] != SPARE)).sum()
    return float(uneven.sum() + TOUCH * (beside + above))
