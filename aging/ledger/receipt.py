"""What a load did to a sheet."""

from __future__ import annotations

from dataclasses import dataclass

from aging.records import Finding


@dataclass(frozen=True)
class Receipt:
    """Counts of the rows of a sheet: `rows` = `stored` + `already` + `refused`.

    `changed` counts those of the stored that follow an earlier version of the same fact. Each
    refused row has one blocking finding.
    """

    sheet: str
    rows: int = 0
    stored: int = 0
    changed: int = 0
    already: int = 0
    refused: int = 0
    findings: tuple[Finding, ...] = ()

    def __add__(self, more: Receipt) -> Receipt:
        """Both together."""
        return Receipt(
            self.sheet,
            self.rows + more.rows,
            self.stored + more.stored,
            self.changed + more.changed,
            self.already + more.already,
            self.refused + more.refused,
            self.findings + more.findings,
        )
