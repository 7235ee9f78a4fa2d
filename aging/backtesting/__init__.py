"""How forecasts did: every campaign cut at some months, its later readings forecast, then scored.

A cut hides whole visits, with all their panels. What is forecast is each later mean over the
panels of a formulation, as its visit read it (target "reading"), by the model and by the rivals
of `rivals.py`.

>>> import aging
>>> aging.backtest("sample_exposure").board  # doctest: +SKIP
"""

from __future__ import annotations

from aging.backtesting.board import Backtest
from aging.backtesting.rolling import CUTS, MODEL, backtest

__all__ = ["CUTS", "MODEL", "Backtest", "backtest"]
