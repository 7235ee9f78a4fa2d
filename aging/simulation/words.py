"""Columns of text from counts: every word is made once, then taken where it stands."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd
from pandas.api.extensions import ExtensionArray

from aging.simulation.weather import Count


def spelt(words: Sequence[str | None] | npt.NDArray[np.str_], at: Count) -> ExtensionArray:
    """The words at some places, as a column of text; None is missing."""
    return pd.array(words, dtype="str").take(at)


def ranks(words: Sequence[str]) -> Count:
    """Place of each word in alphabetical order."""
    return np.argsort(np.argsort(words))
