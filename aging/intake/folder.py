"""Which files of a folder, or tabs of a workbook, are which sheets."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from aging.errors import SourceError
from aging.intake.raw import Raw, plain, shown
from aging.intake.text import parse
from aging.intake.workbook import tabs
from aging.records import SHEETS

READ_ELSEWHERE = ("limits.csv",)  # a site's own limits, of `aging.checks`
NEEDED = tuple(name for name, sheet in SHEETS.items() if sheet.required)


def find(source: Path) -> tuple[list[Raw], list[str]]:
    """Every sheet of a source, and notes; SourceError where there is nothing to begin with."""
    try:
        if source.is_dir():
            raws, others = _files(source)
        elif source.is_file() and source.suffix.lower() in (".xlsx", ".xlsm"):
            raws, others = tabs(source)
        else:
            seen = "no folder and no .xlsx workbook" if source.exists() else "not found"
            raise SourceError(f"{source}: {seen}; give an exposure folder or an .xlsx workbook")
    except (OSError, ValueError) as error:
        raise SourceError(f"{source}: cannot be read ({error})") from error
    _complete(source, raws, others)
    return raws, [f"not read: {', '.join(others)}"] if others else []


def _files(folder: Path) -> tuple[list[Raw], list[str]]:
    raws: list[Raw] = []
    others: list[str] = []
    for path in sorted(folder.iterdir()):
        if path.is_dir() and path.name.lower() == "weather":
            for file in sorted(path.iterdir()):
                name, site = shown(f"{path.name}/{file.name}"), shown(file.stem.strip())
                if file.is_file() and file.suffix.lower() == ".csv":
                    raws.append(parse("weather", name, file.read_bytes(), site=site))
                elif file.is_file() and not file.name.startswith("."):
                    others.append(name)
        elif path.is_file() and path.suffix.lower() == ".csv" and plain(path.stem) in SHEETS:
            raws.append(parse(plain(path.stem), path.name, path.read_bytes()))
        elif path.is_file() and not path.name.startswith(".") and path.name not in READ_ELSEWHERE:
            others.append(shown(path.name))
    return raws, others


def _complete(source: Path, raws: list[Raw], others: list[str]) -> None:
    counts = Counter(raw.sheet for raw in raws)
    files = ", ".join([raw.file for raw in raws] + others) or "nothing"
    lacking = [name for name in NEEDED if not counts[name]]
    if lacking:
        raise SourceError(
            f"{source}: no {' and no '.join(lacking)} sheet; found: {files}; "
            f"needed: {', '.join(f'{name}.csv' for name in NEEDED)} (or tabs of these names)"
        )
    twice = [name for name, count in counts.items() if count > 1 and name != "weather"]
    if twice:
        raise SourceError(f"{source}: more than one {', '.join(twice)} sheet; found: {files}")
