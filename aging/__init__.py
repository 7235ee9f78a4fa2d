"""From readings of exposed panels to dated, honest projections of what they will read.

>>> import aging
>>> aging.project("sample_exposure", months=36).frame  # doctest: +SKIP
>>> aging.compare("sample_exposure", months=36).frame  # doctest: +SKIP
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"
_ROOMS = {
    "backtest": "aging.backtesting",
    "compare": "aging.comparison",
    "fit": "aging.projection",
    "project": "aging.projection",
}
__all__ = ["__version__", "backtest", "compare", "fit", "project"]


def __getattr__(name: str) -> Any:
    if name in _ROOMS:
        return getattr(import_module(_ROOMS[name]), name)
    raise AttributeError(f"module 'aging' has no attribute {name!r}")
