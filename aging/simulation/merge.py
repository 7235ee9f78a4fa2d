"""Several exposures as one, as a laboratory keeps its earlier and its running campaigns."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from aging.errors import require
from aging.records import SHEETS, Exposure


def merge(exposures: Sequence[Exposure]) -> Exposure:
    """Join exposures; a row that several share, such as a site, stands once.

    CallError where they hold different rows of one name, such as two panels with the same id.
    """
    require(len(exposures) > 0, "exposures", len(exposures), "one or more")
    joined = {
        name: pd.concat([getattr(one, name) for one in exposures], ignore_index=True)
        .drop_duplicates(ignore_index=True)
        for name in SHEETS
    }  # fmt: skip
    for name, sheet in SHEETS.items():
        key = list(sheet.key)
        twice = joined[name][joined[name].duplicated(key)]
        unlike = f"rows of {name} that differ in more than {', '.join(key)}"
        require(twice.empty, name, twice[key].head(3).to_dict("records"), unlike)
    return Exposure(**joined)
