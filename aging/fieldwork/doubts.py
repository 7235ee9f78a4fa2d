"""What can be doubted of a reading while the panel is at hand, as the round sheet's phone does it.

The rules have the names of the desk's (`aging.checks`), so that an answer given here holds there.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from aging.fieldwork.round_sheet import Asked, Earlier, ToRead
from aging.fieldwork.spots import Spots

ROUNDING = 1e-9


@dataclass(frozen=True)
class Doubt:
    """A question to answer before the reading is kept: what was seen, what is allowed."""

    rule: str
    seen: str
    allowed: str


def expected(asked: Asked, panel: ToRead) -> tuple[float, float] | None:
    """Lowest and highest value that the last one leads to expect; None where nothing is known."""
    past, limits = panel.earlier.get(asked.name), _numbers(asked)
    if past is None:
        return None
    if panel.kind == "file_specimen":
        still = limits.get("still")
        return None if still is None else (past.value - still, past.value + still)
    if "falls" not in limits:
        return None
    return past.value - _per_month(limits, panel) * max(past.gap, 1), past.value + _rise(
        limits, past
    )


def doubts(
    asked: Asked, panel: ToRead, spots: Spots, *, surface_state: str, surface_wetness: str
) -> tuple[Doubt, ...]:
    """Every question that the spots of a property raise on a panel of the round."""
    return tuple(_found(asked, panel, spots, surface_state, surface_wetness))


def _numbers(asked: Asked) -> dict[str, Any]:
    return dict(asked.limits)


def _per_month(limits: dict[str, Any], panel: ToRead) -> float:
    months = panel.months or 0.0
    return next(most for until, most in limits["falls"] if until is None or months <= until)


def _rise(limits: dict[str, Any], past: Earlier) -> float:
    if past.washed:
        return float("inf")
    rained = past.rain_mm is not None and past.rain_mm >= limits["rain_mm"]
    return float(limits["rises_after_rain" if rained else "rises"])


def _found(
    asked: Asked, panel: ToRead, spots: Spots, state: str, wetness: str
) -> Iterator[Doubt]:  # fmt: skip
    limits, mean, show = _numbers(asked), spots.mean, f"{{:.{asked.decimals}f}}".format
    if wetness == "damp":
        yield Doubt("wet-surface", "damp", "dry")
    low, high = limits["usual_low"], limits["usual_high"]
    if not low <= mean <= high:
        yield Doubt("unusual", show(mean), f"usually {low:g} to {high:g}")
    if state == "as_exposed":
        yield from _jumps(asked, panel, mean)
    young = panel.months is not None and panel.months <= limits.get("new_months", -1)
    most = limits.get("spot_range_new" if young else "spot_range_aged")
    if most is not None and spots.range > most + ROUNDING:
        yield Doubt("spots", f"spots differ by {show(spots.range)}", f"up to {most:g}")


def _jumps(asked: Asked, panel: ToRead, mean: float) -> Iterator[Doubt]:
    band, show = expected(asked, panel), f"{{:.{asked.decimals}f}}".format
    if band is None:
        return
    past, limits, (least, most) = panel.earlier[asked.name], _numbers(asked), band
    moved = f"{show(past.value)} on {past.on}, now {show(mean)}"
    if panel.kind == "file_specimen":
        if not least - ROUNDING <= mean <= most + ROUNDING:
            yield Doubt("file-specimens", moved, f"{show(least)} to {show(most)}")
        return
    if mean < least - ROUNDING:
        yield Doubt("fell-fast", moved, f"down to {show(least)}")
    if past.initial is not None and mean > past.initial + limits["above_new"] + ROUNDING:
        allowed = f"up to {show(past.initial + limits['above_new'])}"
        yield Doubt("above-new", f"{show(mean)}, {show(past.initial)} when new", allowed)
    elif mean > most + ROUNDING:
        again = past.initial is not None and mean >= limits["like_washed"] * past.initial
        yield Doubt("like-washed" if again else "rose", moved, f"up to {show(most)}")
