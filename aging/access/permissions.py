"""The table of permissions: which role may do which deed, when a deed is recorded, and why."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

ROLES = ("reader", "technician", "formulator", "manager", "keeper")


@dataclass(frozen=True)
class Permission:
    """Who may do a deed; whether it is recorded once done, before (what leaves), or not."""

    roles: frozenset[str]
    records: Literal["no", "before", "after"]
    reason: str


def _read(file: Path) -> Mapping[str, Permission]:
    with file.open(encoding="utf-8", newline="") as lines:
        return {
            row["deed"]: Permission(
                frozenset(role for role in ROLES if row[role] == "yes"),
                row["records"],  # type: ignore[arg-type]
                row["reason"],
            )
            for row in csv.DictReader(lines)
        }


PERMISSIONS = _read(Path(__file__).with_name("permissions.csv"))
