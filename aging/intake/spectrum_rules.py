"""Rules of reflectance spectra, in files and in the spectra sheet alike; the sun sets the range.

Faults of the wavelengths refuse every sample read at them, faults of a sample that sample alone.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from aging.intake.raw import shown
from aging.optics.solar import RANGE_NM, REFLECTANCE_RANGE
from aging.records import Finding, Severity

Array = NDArray[np.float64]

LOW, HIGH = REFLECTANCE_RANGE
WIDEST_STEP_NM = 20.0  # common practice, no source: spectrophotometers step by 1 to 10 nm
MEANT_AS_PERCENT = 1.5  # a sample whose median is above was no fraction: common practice, no source
WAVELENGTH = "wavelength"


@dataclass
class Bench:
    """Samples of one set of wavelengths under check: `read` (N, W) at `wavelength` (W,).

    `rows` (W,) as a person counts, 0 unknown; `percent` says which samples are percent by name.
    """

    file: str
    samples: list[str] = field(default_factory=list)
    percent: list[bool] = field(default_factory=list)
    wavelength: Array = field(default_factory=lambda: np.empty(0))
    read: Array = field(default_factory=lambda: np.empty((0, 0)))
    rows: NDArray[np.intp] = field(default_factory=lambda: np.empty(0, np.intp))
    findings: list[Finding] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    of_percent: str = "put % into the sample's heading (values are then divided by 100)"
    broken: bool = False
    refused: set[int] = field(default_factory=set)

    def note(  # noqa: PLR0917 the facts of a finding, in its own order
        self, code: str, row: Any, column: str | None, seen: str, allowed: str, action: str,
        severity: Severity = "block",
    ) -> None:  # fmt: skip
        """Note a finding at a row, 0 or None where there is none."""
        at = int(row) if row else None
        found = Finding(code, severity, self.file, at, column, shown(seen), allowed, action)
        self.findings.append(found)

    def refuse(self, code: str, row: Any, seen: str, allowed: str, action: str) -> None:
        """Refuse all samples for a fault of their wavelengths."""
        self.broken = True
        self.note(code, row, WAVELENGTH, seen, allowed, action)

    def refuse_sample(
        self, number: int, code: str, where: NDArray[np.bool_], allowed: str, action: str
    ) -> None:
        """Refuse a sample for the wavelengths in a mask; the first stands for all."""
        self.refused.add(number)
        first, count = int(np.argmax(where)), int(where.sum())
        value = self.read[number, first]
        seen = "empty" if np.isnan(value) else f"{value:g}"
        seen += f" at {self.wavelength[first]:g} nm" + (f" and {count - 1} more" * (count > 1))
        self.note(code, self.rows[first], self.samples[number], seen, allowed, action)

    def judge(self) -> None:
        """Find every fault of the wavelengths, then of each sample; make fractions of percent."""
        with np.errstate(over="ignore", invalid="ignore"):  # of numbers such as 1e308
            _wavelengths(self)
            _samples(self)


def _wavelengths(bench: Bench) -> None:
    """Judge the wavelengths, which all samples share; turn a descending file round."""
    at = bench.wavelength
    if at.size > 1 and np.all(np.diff(at) <= 0) and at[0] > at[-1]:
        seen, action = f"{at[0]:g} to {at[-1]:g} nm", "nothing: the order was turned round"
        bench.note("descending-wavelengths", None, WAVELENGTH, seen, "ascending", action, "warn")
        bench.wavelength = at = at[::-1]
        bench.rows, bench.read = bench.rows[::-1], bench.read[:, ::-1]
    step = np.diff(at)
    for i in np.flatnonzero(step == 0) + 1:
        bench.refuse(
            "duplicate-wavelength", bench.rows[i], f"{at[i]:g}", "each wavelength once",
            "remove the repeat",
        )  # fmt: skip
    if (step < 0).any():
        turn = int(np.argmax(step < 0)) + 1
        seen = f"{at[turn]:g} after {at[turn - 1]:g}"
        bench.refuse("unordered-wavelengths", bench.rows[turn], seen, "ascending", "sort the rows")
    if at.min() > RANGE_NM[0] or at.max() < RANGE_NM[1]:
        allowed = f"all of {RANGE_NM[0]:g} to {RANGE_NM[1]:g} nm"
        bench.refuse(
            "coverage", None, f"{at.min():g} to {at.max():g} nm", allowed,
            "measure the whole range; what is not measured is not guessed",
        )  # fmt: skip
    inside = (at[1:] > RANGE_NM[0]) & (at[:-1] < RANGE_NM[1]) & bool((step >= 0).all())
    wide = np.flatnonzero((step > WIDEST_STEP_NM) & inside)
    for i in wide[:1]:
        more = f" and {wide.size - 1} more" * (wide.size > 1)
        bench.note(
            "gap", bench.rows[i], WAVELENGTH, f"{at[i]:g} to {at[i + 1]:g} nm{more}",
            f"steps of at most {WIDEST_STEP_NM:g} nm", "check the export; taken as a straight line",
            "confirm",
        )  # fmt: skip


def _samples(bench: Bench) -> None:
    """Judge each sample within the range that counts; bring percent to fractions."""
    bench.read[bench.percent] /= 100
    for name in (one for one, count in Counter(bench.samples).items() if count > 1):
        bench.broken = True
        bench.note("duplicate-sample", None, name, name, "each name once", "rename the columns")
    first, last = np.searchsorted(bench.wavelength, RANGE_NM, side="right")
    used = np.full(bench.wavelength.size, bench.broken)
    used[max(first - 1, 0) : last + 1] = True
    for i in (i for i in range(len(bench.samples)) if i not in bench.refused):
        value = bench.read[i]
        empty, odd = np.isnan(value) & used, ((value < LOW) | (value > HIGH)) & used
        if empty.any():
            action = "fill the cell or take the sample out"
            bench.refuse_sample(i, "missing-value", empty, "a value at every wavelength", action)
        elif odd.any() and np.median(value[used]) > MEANT_AS_PERCENT and not bench.percent[i]:
            action = bench.of_percent
            bench.refuse_sample(i, "percent-for-fraction", odd, "a fraction from 0 to 1.1", action)
        elif odd.any():
            action = "look the spectrum up and correct it"
            bench.refuse_sample(i, "out-of-range", odd, f"{LOW:g} to {HIGH:g} (fraction)", action)
