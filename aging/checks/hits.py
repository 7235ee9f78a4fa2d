"""What a rule hands back: the readings it doubts, what was seen, what is allowed, how grave."""

from __future__ import annotations

from collections.abc import Iterable
from string import Formatter

import pandas as pd

WHERE = ("site", "panel", "read_on", "property", "reading_id")
SAID = ("rule", "severity", "seen", "allowed", "together")

NONE = pd.DataFrame({name: pd.Series(dtype="str") for name in (*WHERE, *SAID)})


def hits(
    rule: str,
    rows: pd.DataFrame,
    seen: Iterable[str] | str,
    allowed: Iterable[str] | str,
    *,
    severity: pd.Series | str | None = None,
    together: pd.Series | None = None,
) -> pd.DataFrame:
    """A row for each doubted reading; columns WHERE that `rows` lacks stay missing.

    severity: None takes the rule's own. together: rows of one value make one finding.
    """
    if rows.empty:
        return NONE
    found = rows.reindex(columns=list(WHERE)).astype("str")
    said = [list(text) if not isinstance(text, str) else text for text in (seen, allowed)]
    alone = pd.Series(range(len(rows)), index=rows.index)
    return found.assign(
        rule=rule, severity=None if severity is None else severity, seen=said[0],
        allowed=said[1], together=alone if together is None else together,
    ).astype({"severity": "str"})  # fmt: skip


def several(rows: pd.DataFrame, template: str) -> list[str]:
    """One text a row, its columns put into a template."""
    names = sorted({name for _, name, *_ in Formatter().parse(template) if name})
    columns = [rows[name].tolist() for name in names]
    each = zip(*columns, strict=True)
    return [template.format(**dict(zip(names, row, strict=True))) for row in each]
