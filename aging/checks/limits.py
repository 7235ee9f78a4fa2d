"""The limits of the rules: the shipped table, and a site's own in their place.

A site changes a limit with a row of a CSV file: rule, limit, value, and if it holds at one site
only, site; reason says why. A `limits.csv` in an exposure folder or beside a store is found by
itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import pandas as pd

from aging.errors import CallError, SourceError

SHIPPED = Path(__file__).with_name("limits.csv")
OWN_FILE = "limits.csv"
NEEDED = ("rule", "limit", "value")
SEVERITIES = ("info", "warn", "confirm", "block")  # from the mildest


@dataclass(frozen=True)
class Limits:
    """Every limit in force: rule, limit, value, unit, source, site ("" everywhere), reason."""

    table: pd.DataFrame

    @cached_property
    def _by_site(self) -> dict[tuple[str, str], dict[str, float]]:
        found: dict[tuple[str, str], dict[str, float]] = {}
        columns = (self.table[name] for name in ("rule", "limit", "site", "value"))
        for rule, limit, site, value in zip(*columns, strict=True):
            found.setdefault((rule, limit), {})[site] = float(value)
        return found

    def value(self, rule: str, limit: str, site: str = "") -> float:
        """One limit at a site."""
        known = self._by_site[rule, limit]
        return known.get(site, known[""])

    def at(self, rule: str, limit: str, site: pd.Series) -> pd.Series:
        """A limit for each site of a column, under the column's index."""
        known = self._by_site[rule, limit]
        found = pd.Series(known[""], index=site.index)
        for name, value in known.items():
            if name:
                found = found.mask(site == name, value)
        return found

    def graded(self, rule: str, size: pd.Series, site: pd.Series, suffix: str = "") -> pd.Series:
        """The gravest severity whose limit a size exceeds; missing where it exceeds none."""
        found = pd.Series(index=size.index, dtype="str")
        for severity in SEVERITIES:
            if (rule, severity + suffix) in self._by_site:
                found = found.mask(size > self.at(rule, severity + suffix, site), severity)
        return found


def limits_with(own: str | Path | pd.DataFrame | None = None) -> Limits:
    """The shipped limits with a site's own after them.

    SourceError for a file that cannot be read; CallError names every row that fits no limit.
    """
    table = pd.read_csv(SHIPPED).assign(site="", reason="")
    return Limits(table if own is None else pd.concat([table, _own(own, table)]))


def own_limits(source: str | Path) -> Path | None:
    """The file of own limits in a folder, or beside a workbook or store, if there is one."""
    path = Path(source)
    file = (path if path.is_dir() else path.parent) / OWN_FILE
    return file if "://" not in str(source) and file.is_file() else None


def _own(own: str | Path | pd.DataFrame, shipped: pd.DataFrame) -> pd.DataFrame:
    where = "limits" if isinstance(own, pd.DataFrame) else str(own)
    try:
        rows = own.copy() if isinstance(own, pd.DataFrame) else pd.read_csv(own, comment="#")
    except (OSError, ValueError) as error:
        raise SourceError(f"{where}: cannot be read as a table of limits ({error})") from error
    lacking = [name for name in NEEDED if name not in rows]
    if lacking:
        raise CallError(f"{where}: no column {', '.join(lacking)}; needed: {', '.join(NEEDED)}")
    named = zip(shipped["rule"], shipped["limit"], strict=True)
    known = dict(zip(named, shipped["unit"], strict=True))
    rules = list(dict.fromkeys(shipped["rule"]))
    rows["value"] = pd.to_numeric(rows["value"], errors="coerce")
    pairs = list(zip(rows["rule"], rows["limit"], strict=True))
    wrong = [
        f"row {place}: {rule}, {limit}: " + (
            "the value is no number" if (rule, limit) in known
            else f"not known; known: {', '.join(name for of, name in known if of == rule)}"
            if rule in rules else f"no rule; rules: {', '.join(rules)}"
        )
        for place, ((rule, limit), value) in enumerate(zip(pairs, rows["value"], strict=True), 2)
        if (rule, limit) not in known or pd.isna(value)
    ]  # fmt: skip
    if wrong:
        raise CallError(f"{where}: {'; '.join(wrong)}")
    blank = pd.Series("", index=rows.index, dtype="str")
    return rows.assign(
        unit=[known[pair] for pair in pairs], source=f"set in {Path(where).name}",
        site=rows.get("site", blank).fillna(""), reason=rows.get("reason", blank).fillna(""),
    )[list(shipped)]  # fmt: skip
