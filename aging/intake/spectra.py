"""Reflectance spectra from people's files: CSV, XLSX, JCAMP-DX; every fault is found at once.

A table has one row a wavelength (nm) and one column a sample; its heading is the last filled row
above the first row that begins with a number, and a heading with % makes its column percent. Faults
of the wavelengths refuse the file, faults of a sample that sample alone.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from contextlib import redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aging.errors import SourceError
from aging.intake.cells import numbers
from aging.intake.raw import shown
from aging.intake.text import decode
from aging.intake.workbook import first_tab
from aging.optics.solar import RANGE_NM, REFLECTANCE_RANGE
from aging.records import Finding, Severity

Array = NDArray[np.float64]

CODES: MappingProxyType[str, str] = MappingProxyType({
    "no-rows": "no row of the file begins with a wavelength",
    "no-sample": "there is no column of values beside the wavelengths",
    "extra-cells": "the row has more cells than the heading",
    "not-nanometres": "the wavelengths are in another unit",
    "not-reflectance": "the file says that it holds something else",
    "not-a-number": "the cell is no plain number",
    "damaged": "the file's own check values do not agree with its data",
    "different-wavelengths": "samples of one file were read at different wavelengths",
    "duplicate-wavelength": "a wavelength stands twice",
    "unordered-wavelengths": "the wavelengths go up and down",
    "descending-wavelengths": "read from long to short; turned round",
    "coverage": "the wavelengths leave out a part of the sun",
    "gap": "two wavelengths that follow each other are far apart",
    "duplicate-sample": "two samples have the same name",
    "missing-value": "the sample lacks a value at a wavelength",
    "percent-for-fraction": "percent without saying so",
    "out-of-range": "the reflectance cannot exist",
})  # fmt: skip

LOW, HIGH = REFLECTANCE_RANGE
WIDEST_STEP_NM = 20.0  # common practice, no source: spectrophotometers step by 1 to 10 nm
MEANT_AS_PERCENT = 1.5  # a sample whose median is above was no fraction: common practice, no source
_JCAMP = (".jdx", ".dx", ".jcm")
_OTHER_UNIT = re.compile(r"cm\^?-1|1/cm|wave ?number|\b[uµμ]m\b|micro|\be?v\b", re.IGNORECASE)
_PER_UNIT_NM = MappingProxyType({
    "nanometers": 1.0, "nanometres": 1.0, "nm": 1.0,
    "micrometers": 1e3, "micrometres": 1e3, "um": 1e3,
})  # fmt: skip
_WAVENUMBER = ("1/cm", "cm-1", "cm^-1")


@dataclass(frozen=True)
class Spectra:
    """Sound samples: `reflectance` (N, W), a fraction, at ascending `wavelength_nm` (W,)."""

    samples: tuple[str, ...]
    wavelength_nm: Array
    reflectance: Array
    findings: tuple[Finding, ...]
    notes: tuple[str, ...]

    @property
    def blocked(self) -> bool:
        """Whether a sample or the whole file was refused."""
        return any(finding.severity == "block" for finding in self.findings)


@dataclass
class _Desk:
    """A file on the checker's desk: `read` (N, W), `rows` (W,) as a person counts, 0 unknown."""

    file: str
    samples: list[str] = field(default_factory=list)
    percent: list[bool] = field(default_factory=list)
    wavelength: Array = field(default_factory=lambda: np.empty(0))
    read: Array = field(default_factory=lambda: np.empty((0, 0)))
    rows: NDArray[np.intp] = field(default_factory=lambda: np.empty(0, np.intp))
    findings: list[Finding] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    broken: bool = False
    refused: set[int] = field(default_factory=set)

    def note(  # noqa: PLR0917 the facts of a finding, in its own order
        self, code: str, row: Any, column: str | None, seen: str, allowed: str, action: str,
        severity: Severity = "block",
    ) -> None:  # fmt: skip
        at = int(row) if row else None
        found = Finding(code, severity, self.file, at, column, shown(seen), allowed, action)
        self.findings.append(found)

    def refuse(self, code: str, row: Any, seen: str, allowed: str, action: str) -> None:
        self.broken = True
        self.note(code, row, "wavelength", seen, allowed, action)

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


def read_spectra(path: str | Path) -> Spectra:
    """Read and check a file of spectra; SourceError where it cannot be read at all."""
    path = Path(path)
    kind = path.suffix.lower()
    desk = _Desk(shown(path.name))
    try:
        if kind in _JCAMP:
            _jcamp(desk, path)
        elif kind in (".xlsx", ".xlsm"):
            _table(desk, first_tab(path), path.stem, decimal_comma=False)
        elif kind in (".csv", ".txt", ".tsv"):
            rows, comma = _lines(path)
            _table(desk, rows, path.stem, decimal_comma=comma)
        else:
            allowed = ", ".join((".csv", ".txt", ".tsv", ".xlsx", ".xlsm", *_JCAMP))
            raise SourceError(f"{path}: no file of spectra by its name; allowed: {allowed}")
    except OSError as error:
        raise SourceError(f"{path}: cannot be read ({error.strerror or error})") from error
    except (UnicodeDecodeError, csv.Error) as error:
        raise SourceError(f"{path}: no text table ({error}); save it as UTF-8 CSV") from error
    if not desk.broken:
        _wavelengths(desk)
        _samples(desk)
    sound = [i for i in range(len(desk.samples)) if i not in desk.refused and not desk.broken]
    return Spectra(
        tuple(desk.samples[i] for i in sound),
        desk.wavelength,
        desk.read[sound] if sound else np.empty((0, desk.wavelength.size)),
        tuple(desk.findings),
        tuple(desk.notes),
    )


def _lines(path: Path) -> tuple[list[list[str]], bool]:
    """Cells of a text table, and whether commas in it are decimal."""
    text = decode(path.read_bytes())[0].replace("\r\n", "\n").replace("\r", "\n")
    lines = text.split("\n")
    half = sum(bool(line.strip()) for line in lines) / 2
    usual = (sign for sign in "\t;" if sum(sign in line for line in lines) > half)
    delimiter = next(usual, ",")
    return list(csv.reader(io.StringIO(text), delimiter=delimiter)), delimiter != ","


def _table(desk: _Desk, cells: list[list[str]], name: str, *, decimal_comma: bool) -> None:
    first = pd.Series([row[0].strip() if row else "" for row in cells], dtype="str")
    is_number = np.isfinite(numbers(first, decimal_comma=decimal_comma)[0])
    if not is_number.any():
        desk.broken = True
        desk.note("no-rows", None, None, "", "rows that begin with a wavelength in nm", "add them")
        return
    top = int(np.argmax(is_number))
    filled = [any(map(str.strip, row)) for row in cells]
    end = next((i for i in range(top, len(cells)) if not filled[i]), len(cells))
    heads = [i for i in range(top) if filled[i]]
    head = [cell.strip() for cell in cells[heads[-1]]] if heads else []
    for count, where in ((len(heads) - 1, "above the heading"), (sum(filled[end:]), "below")):
        if count > 0:
            desk.notes.append(f"{desk.file}: not read: {count} rows {where}")
    body = cells[top:end]
    width = len(head) or max(map(len, body))
    desk.rows = np.arange(top + 1, end + 1)
    if head and _OTHER_UNIT.search(head[0]):
        desk.refuse("not-nanometres", heads[-1] + 1, head[0], "nm", "convert the wavelengths to nm")
    for row, line in zip(desk.rows, body, strict=True):
        if any(map(str.strip, line[width:])):
            action = "put the heading in the row above the first wavelength"
            desk.broken = True
            desk.note("extra-cells", row, None, ",".join(line[width:]), f"{width} cells", action)
    text = pd.Series([cell.strip() for row in body for cell in (row + [""] * width)[:width]])
    values, bad = numbers(text.astype("str"), decimal_comma=decimal_comma)
    values, bad = values.reshape(-1, width), bad.reshape(-1, width)
    kept = [j for j in range(1, width) if np.isfinite(values[:, j]).any() or bad[:, j].any()]
    if not kept:
        desk.broken = True
        desk.note("no-sample", None, None, "", "a column for each sample", "add the values")
    made = [name] if width == 2 else [f"sample {j}" for j in range(1, width)]  # noqa: PLR2004
    desk.samples = [(head[j] if head else "") or made[j - 1] for j in kept]
    desk.percent = ["%" in sample for sample in desk.samples]
    desk.wavelength, desk.read = values[:, 0], values[:, kept].T.copy()
    _cells(desk, text.to_numpy().reshape(-1, width), bad, kept)


def _cells(desk: _Desk, text: NDArray[Any], bad: NDArray[np.bool_], kept: list[int]) -> None:
    """Find the cells (W, columns) that are no number; an empty one is the sample's own matter."""
    for i in np.flatnonzero(bad[:, 0] | (text[:, 0] == "")):
        seen = str(text[i, 0])
        desk.refuse("not-a-number", desk.rows[i], seen, "a wavelength in nm", "type the number")
    for number, j in enumerate(kept):
        for i in np.flatnonzero(bad[:, j]):
            desk.refused.add(number)
            desk.note(
                "not-a-number", desk.rows[i], desk.samples[number], str(text[i, j]),
                "a number such as 0.812", "type the plain number",
            )  # fmt: skip


def _jcamp_blocks(desk: _Desk, path: Path) -> list[dict[str, Any]]:
    """Blocks that hold data; the library prints what does not agree, which is found here."""
    import jcamp

    lines, said = path.read_bytes().splitlines(keepends=True), io.StringIO()
    try:
        with redirect_stdout(said):
            facts = jcamp.read(lines)
    except Exception as error:  # the library raises bare ones
        raise SourceError(f"{path}: not a JCAMP-DX file that can be read ({error})") from error
    if said.getvalue():
        desk.refuse("damaged", None, said.getvalue().strip(), "no contradiction", "export it anew")
    return [block for block in facts.get("children") or [facts] if len(block["x"])]


def _jcamp(desk: _Desk, path: Path) -> None:
    blocks = _jcamp_blocks(desk, path)
    if not blocks:
        desk.broken = True
        desk.note("no-rows", None, None, "", "a block of data", "export the spectrum itself")
        return
    for block in blocks:
        unit, quantity = (str(block.get(f"{axis}units", "")).strip().lower() for axis in "xy")
        if unit not in (*_PER_UNIT_NM, *_WAVENUMBER):
            allowed = ", ".join((*_PER_UNIT_NM, *_WAVENUMBER))
            desk.refuse("not-nanometres", None, unit, allowed, "export it over wavelength")
        if "reflectance" not in quantity and quantity not in ("%r", "r"):
            desk.refuse("not-reflectance", None, quantity, "reflectance", "export reflectance")
        desk.samples.append(str(block.get("title") or path.stem))
        desk.percent.append("%" in quantity or "percent" in quantity)
    if desk.broken:
        return
    grids = [_nanometres(block) for block in blocks]
    if any(not np.array_equal(grid, grids[0]) for grid in grids):
        desk.refuse(
            "different-wavelengths", None, f"{len(blocks)} blocks", "one set of wavelengths",
            "save each spectrum in a file of its own",
        )  # fmt: skip
        return
    if not np.isfinite(grids[0]).all():
        desk.refuse("damaged", None, "a wavenumber of 0", "wavelengths", "export it anew")
    desk.wavelength, desk.rows = grids[0], np.zeros(grids[0].size, np.intp)
    desk.read = np.array([block["y"] for block in blocks], np.float64)


def _nanometres(block: dict[str, Any]) -> Array:
    at, unit = np.asarray(block["x"], np.float64), str(block["xunits"]).strip().lower()
    if unit in _WAVENUMBER:
        return np.divide(1e7, at, out=np.full(at.size, np.inf), where=at > 0)
    return at * _PER_UNIT_NM[unit]


def _wavelengths(desk: _Desk) -> None:
    """Judge the wavelengths, which all samples share; turn a descending file round."""
    at = desk.wavelength
    if at.size > 1 and np.all(np.diff(at) <= 0) and at[0] > at[-1]:
        seen, action = f"{at[0]:g} to {at[-1]:g} nm", "nothing: the order was turned round"
        desk.note("descending-wavelengths", None, "wavelength", seen, "ascending", action, "warn")
        desk.wavelength = at = at[::-1]
        desk.rows, desk.read = desk.rows[::-1], desk.read[:, ::-1]
    step = np.diff(at)
    for i in np.flatnonzero(step == 0) + 1:
        desk.refuse(
            "duplicate-wavelength", desk.rows[i], f"{at[i]:g}", "each wavelength once",
            "remove the repeat",
        )  # fmt: skip
    if (step < 0).any():
        turn = int(np.argmax(step < 0)) + 1
        seen = f"{at[turn]:g} after {at[turn - 1]:g}"
        desk.refuse("unordered-wavelengths", desk.rows[turn], seen, "ascending", "sort the rows")
    if at.min() > RANGE_NM[0] or at.max() < RANGE_NM[1]:
        allowed = f"all of {RANGE_NM[0]:g} to {RANGE_NM[1]:g} nm"
        desk.refuse(
            "coverage", None, f"{at.min():g} to {at.max():g} nm", allowed,
            "measure the whole range; what is not measured is not guessed",
        )  # fmt: skip
    inside = (at[1:] > RANGE_NM[0]) & (at[:-1] < RANGE_NM[1]) & bool((step >= 0).all())
    for i in np.flatnonzero((step > WIDEST_STEP_NM) & inside):
        desk.note(
            "gap", desk.rows[i], "wavelength", f"{at[i]:g} to {at[i + 1]:g} nm",
            f"steps of at most {WIDEST_STEP_NM:g} nm", "check the export; taken as a straight line",
            "confirm",
        )  # fmt: skip


def _samples(desk: _Desk) -> None:
    """Judge each sample within the range that counts; bring percent to fractions."""
    desk.read[desk.percent] /= 100
    for name in (one for one, count in Counter(desk.samples).items() if count > 1):
        desk.broken = True
        desk.note("duplicate-sample", None, name, name, "each name once", "rename the columns")
    first, last = np.searchsorted(desk.wavelength, RANGE_NM, side="right")
    used = np.full(desk.wavelength.size, desk.broken)
    used[max(first - 1, 0) : last + 1] = True
    for i in (i for i in range(len(desk.samples)) if i not in desk.refused):
        value = desk.read[i]
        empty, odd = np.isnan(value) & used, ((value < LOW) | (value > HIGH)) & used
        if empty.any():
            action = "fill the cell or take the sample out"
            desk.refuse_sample(i, "missing-value", empty, "a value at every wavelength", action)
        elif odd.any() and np.median(value[used]) > MEANT_AS_PERCENT and not desk.percent[i]:
            action = "put % into the sample's heading (values are then divided by 100)"
            desk.refuse_sample(i, "percent-for-fraction", odd, "a fraction from 0 to 1.1", action)
        elif odd.any():
            action = "look the spectrum up and correct it"
            desk.refuse_sample(i, "out-of-range", odd, f"{LOW:g} to {HIGH:g} (fraction)", action)
