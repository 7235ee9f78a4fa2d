"""Reflectance spectra from people's files: CSV, XLSX, JCAMP-DX; every fault is found at once.

A table has one row a wavelength (nm) and one column a sample; its heading is the last filled row
above the first row that begins with a number, and a heading with % makes its column percent. Of a
workbook every tab with such a table is read. The rules stand in `spectrum_rules`.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from contextlib import redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aging.errors import SourceError
from aging.intake.cells import numbers
from aging.intake.codes import OF_WAVELENGTHS
from aging.intake.raw import shown
from aging.intake.spectrum_rules import WAVELENGTH, Array, Bench
from aging.intake.text import decode
from aging.intake.workbook import worksheets
from aging.records import Finding

CODES: MappingProxyType[str, str] = MappingProxyType({
    "no-rows": "no row of the file begins with a wavelength",
    "no-sample": "there is no column of values beside the wavelengths",
    "extra-cells": "the row has more cells than the heading",
    "not-nanometres": "the wavelengths are in another unit",
    "not-reflectance": "the file says that it holds something else",
    "not-a-number": "the cell is no plain number",
    "damaged": "the file's own check values do not agree with its data",
    "different-wavelengths": "samples of one file were read at different wavelengths",
    "duplicate-sample": "two samples have the same name",
    "missing-value": "the sample lacks a value at a wavelength",
    "percent-for-fraction": "percent without saying so",
    "out-of-range": "the reflectance cannot exist",
    **OF_WAVELENGTHS,
})  # fmt: skip

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


def read_spectra(path: str | Path) -> Spectra:
    """Read and check a file of spectra; SourceError where it cannot be read at all."""
    path = Path(path)
    kind, bench = path.suffix.lower(), Bench(shown(path.name))
    try:
        if kind in (".xlsx", ".xlsm"):
            return _workbook(path)
        if kind in _JCAMP:
            _jcamp(bench, path)
        elif kind in (".csv", ".txt", ".tsv"):
            rows, comma = _lines(path)
            _table(bench, rows, path.stem, decimal_comma=comma)
        else:
            allowed = ", ".join((".csv", ".txt", ".tsv", ".xlsx", ".xlsm", *_JCAMP))
            raise SourceError(f"{path}: no file of spectra by its name; allowed: {allowed}")
    except OSError as error:
        raise SourceError(f"{path}: cannot be read ({error.strerror or error})") from error
    except (UnicodeDecodeError, csv.Error) as error:
        raise SourceError(f"{path}: no text table ({error}); save it as UTF-8 CSV") from error
    return _judged(bench)


def _judged(bench: Bench) -> Spectra:
    if not bench.broken:
        bench.judge()
    sound = [i for i in range(len(bench.samples)) if i not in bench.refused and not bench.broken]
    return Spectra(
        tuple(bench.samples[i] for i in sound),
        bench.wavelength,
        bench.read[sound] if sound else np.empty((0, bench.wavelength.size)),
        tuple(bench.findings),
        tuple(bench.notes),
    )


def _workbook(path: Path) -> Spectra:
    """All tabs that hold spectra; a sample's name that stands in several takes its tab's along."""
    tabs, file = worksheets(path) or {"": []}, shown(path.name)
    found: dict[str, Spectra] = {}
    for tab, cells in tabs.items():
        alone = len(tabs) == 1
        bench = Bench(file if alone else shown(f"{file}, {tab}"))
        _table(bench, cells, path.stem if alone else tab, decimal_comma=False)
        found[tab] = _judged(bench)
    full = {tab: one for tab, one in found.items() if "no-rows" not in _codes(one)} or found
    findings = [finding for one in full.values() for finding in one.findings]
    notes = [note for one in full.values() for note in one.notes]
    if len(full) < len(tabs):
        notes.append(f"{file}: tabs read: {', '.join(full)}; without spectra: "
                     f"{', '.join(tab for tab in tabs if tab not in full)}")  # fmt: skip
    sound = {tab: one for tab, one in full.items() if one.samples}
    grids = [one.wavelength_nm for one in sound.values()] or [np.empty(0)]
    if any(not np.array_equal(grid, grids[0]) for grid in grids):
        findings.append(_unlike(file, f"{len(sound)} tabs"))
        sound = {}
    names = Counter(sample for one in sound.values() for sample in one.samples)
    return Spectra(
        tuple(sample if names[sample] == 1 else f"{tab} {sample}"
              for tab, one in sound.items() for sample in one.samples),
        grids[0],
        np.vstack([np.empty((0, grids[0].size)), *(one.reflectance for one in sound.values())]),
        tuple(findings),
        tuple(notes),
    )  # fmt: skip


def _codes(found: Spectra) -> set[str]:
    return {finding.code for finding in found.findings}


def _unlike(file: str, seen: str) -> Finding:
    return Finding(
        "different-wavelengths", "block", file, None, WAVELENGTH, seen, "one set of wavelengths",
        "save each spectrum in a file of its own",
    )  # fmt: skip


def _lines(path: Path) -> tuple[list[list[str]], bool]:
    """Cells of a text table, and whether commas in it are decimal."""
    text = decode(path.read_bytes())[0].replace("\r\n", "\n").replace("\r", "\n")
    lines = text.split("\n")
    half = sum(bool(line.strip()) for line in lines) / 2
    usual = (sign for sign in "\t;" if sum(sign in line for line in lines) > half)
    delimiter = next(usual, ",")
    return list(csv.reader(io.StringIO(text), delimiter=delimiter)), delimiter != ","


def _table(bench: Bench, cells: list[list[str]], name: str, *, decimal_comma: bool) -> None:
    first = pd.Series([row[0].strip() if row else "" for row in cells], dtype="str")
    is_number = np.isfinite(numbers(first, decimal_comma=decimal_comma)[0])
    if not is_number.any():
        bench.broken = True
        bench.note("no-rows", None, None, "", "rows that begin with a wavelength in nm", "add them")
        return
    top = int(np.argmax(is_number))
    filled = [any(map(str.strip, row)) for row in cells]
    end = next((i for i in range(top, len(cells)) if not filled[i]), len(cells))
    heads = [i for i in range(top) if filled[i]]
    head = [cell.strip() for cell in cells[heads[-1]]] if heads else []
    for count, where in ((len(heads) - 1, "above the heading"), (sum(filled[end:]), "below")):
        if count > 0:
            bench.notes.append(f"{bench.file}: not read: {count} rows {where}")
    body = cells[top:end]
    width = len(head) or max(map(len, body))
    bench.rows = np.arange(top + 1, end + 1)
    if head and _OTHER_UNIT.search(head[0]):
        bench.refuse(
            "not-nanometres", heads[-1] + 1, head[0], "nm", "convert the wavelengths to nm"
        )
    for row, line in zip(bench.rows, body, strict=True):
        if any(map(str.strip, line[width:])):
            action = "put the heading in the row above the first wavelength"
            bench.broken = True
            bench.note("extra-cells", row, None, ",".join(line[width:]), f"{width} cells", action)
    text = pd.Series([cell.strip() for row in body for cell in (row + [""] * width)[:width]])
    values, bad = numbers(text.astype("str"), decimal_comma=decimal_comma)
    values, bad = values.reshape(-1, width), bad.reshape(-1, width)
    kept = [j for j in range(1, width) if np.isfinite(values[:, j]).any() or bad[:, j].any()]
    if not kept:
        bench.broken = True
        bench.note("no-sample", None, None, "", "a column for each sample", "add the values")
    made = [name] if width == 2 else [f"sample {j}" for j in range(1, width)]  # noqa: PLR2004
    bench.samples = [(head[j] if head else "") or made[j - 1] for j in kept]
    bench.percent = ["%" in sample for sample in bench.samples]
    bench.wavelength, bench.read = values[:, 0], values[:, kept].T.copy()
    _cells(bench, text.to_numpy().reshape(-1, width), bad, kept)


def _cells(bench: Bench, text: NDArray[Any], bad: NDArray[np.bool_], kept: list[int]) -> None:
    """Find the cells (W, columns) that are no number; an empty one is the sample's own matter."""
    for i in np.flatnonzero(bad[:, 0] | (text[:, 0] == "")):
        seen = str(text[i, 0])
        bench.refuse("not-a-number", bench.rows[i], seen, "a wavelength in nm", "type the number")
    for number, j in enumerate(kept):
        for i in np.flatnonzero(bad[:, j]):
            bench.refused.add(number)
            bench.note(
                "not-a-number", bench.rows[i], bench.samples[number], str(text[i, j]),
                "a number such as 0.812", "type the plain number",
            )  # fmt: skip


def _jcamp_blocks(bench: Bench, path: Path) -> list[dict[str, Any]]:
    """Blocks that hold data; the library prints what does not agree, which is found here."""
    import jcamp

    lines, said = path.read_bytes().splitlines(keepends=True), io.StringIO()
    try:
        with redirect_stdout(said):
            facts = jcamp.read(lines)
    except Exception as error:  # the library raises bare ones
        raise SourceError(f"{path}: not a JCAMP-DX file that can be read ({error})") from error
    if said.getvalue():
        bench.refuse("damaged", None, said.getvalue().strip(), "no contradiction", "export it anew")
    return [block for block in facts.get("children") or [facts] if len(block["x"])]


def _jcamp(bench: Bench, path: Path) -> None:
    blocks = _jcamp_blocks(bench, path)
    if not blocks:
        bench.broken = True
        bench.note("no-rows", None, None, "", "a block of data", "export the spectrum itself")
        return
    for block in blocks:
        unit, quantity = (str(block.get(f"{axis}units", "")).strip().lower() for axis in "xy")
        if unit not in (*_PER_UNIT_NM, *_WAVENUMBER):
            allowed = ", ".join((*_PER_UNIT_NM, *_WAVENUMBER))
            bench.refuse("not-nanometres", None, unit, allowed, "export it over wavelength")
        if "reflectance" not in quantity and quantity not in ("%r", "r"):
            bench.refuse("not-reflectance", None, quantity, "reflectance", "export reflectance")
        bench.samples.append(str(block.get("title") or path.stem))
        bench.percent.append("%" in quantity or "percent" in quantity)
    if bench.broken:
        return
    grids = [_nanometres(block) for block in blocks]
    if any(not np.array_equal(grid, grids[0]) for grid in grids):
        bench.broken = True
        bench.findings.append(_unlike(bench.file, f"{len(blocks)} blocks"))
        return
    if not np.isfinite(grids[0]).all():
        bench.refuse("damaged", None, "a wavenumber of 0", "wavelengths", "export it anew")
    bench.wavelength, bench.rows = grids[0], np.zeros(grids[0].size, np.intp)
    bench.read = np.array([block["y"] for block in blocks], np.float64)


def _nanometres(block: dict[str, Any]) -> Array:
    at, unit = np.asarray(block["x"], np.float64), str(block["xunits"]).strip().lower()
    if unit in _WAVENUMBER:
        return np.divide(1e7, at, out=np.full(at.size, np.inf), where=at > 0)
    return at * _PER_UNIT_NM[unit]
