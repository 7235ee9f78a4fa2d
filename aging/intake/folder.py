"""Which files of a folder, or tabs of a workbook, are which sheets."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from aging.errors import SourceError
from aging.intake.matching import Matching, known_for
from aging.intake.raw import Raw, plain, shown
from aging.intake.reshaping import reshaped
from aging.intake.tables import WORKBOOKS, Table, header_of, tables_in
from aging.intake.text import parse
from aging.intake.workbook import tabs
from aging.records import SHEETS

READ_ELSEWHERE = ("limits.csv",)  # a site's own limits, of `aging.checks`
NEEDED = tuple(name for name, sheet in SHEETS.items() if sheet.required)


def find(
    source: Path, known: Sequence[Matching] = (), needed: Sequence[str] = NEEDED
) -> tuple[list[Raw], list[str]]:
    """Every sheet of a source, and notes; SourceError where there is nothing to begin with.

    known: matchings for tables with a laboratory's own headers. needed: sheets that must be there.
    """
    try:
        if source.is_dir() or (source.is_file() and source.suffix.lower() == ".csv"):
            raws, others = _files(source)
        elif source.is_file() and source.suffix.lower() in WORKBOOKS:
            raws, others = tabs(source)
        else:
            seen = "no folder and no .xlsx workbook" if source.exists() else "not found"
            raise SourceError(f"{source}: {seen}; give an exposure folder or an .xlsx workbook")
        if known:
            raws, others = _matched(source, known, raws, others)
    except (OSError, ValueError) as error:
        raise SourceError(f"{source}: cannot be read ({error})") from error
    _complete(source, raws, others, needed)
    return raws, [f"not read: {', '.join(others)}"] if others else []


def foreign(source: Path) -> list[Table]:
    """Tables of a source whose names or headers are not those of our sheets."""
    found = []
    for path in _paths(source):
        named = path.suffix.lower() == ".csv"
        beside = source.is_dir()  # tabs of several workbooks may have one name
        if named and _ours(path.stem, header_of(path)):
            continue  # without reading what may be a million rows
        found += [
            table if named or not beside else replace(table, file=f"{path.name}, {table.file}")
            for table in tables_in(path)
            if named or beside or not _ours(table.file, table.headers)
        ]
    return found


def _ours(name: str, headers: Iterable[str]) -> bool:
    """Whether a file or tab has the name of a sheet and the columns that it must have."""
    if plain(name).startswith("weather_"):
        return True
    sheet = SHEETS.get(plain(name))
    return sheet is not None and {one.name for one in sheet.columns if one.required} <= {
        plain(header) for header in headers
    }


def _paths(source: Path) -> list[Path]:
    if not source.is_dir():
        return [source] if source.suffix.lower() in (".csv", *WORKBOOKS) else []
    return [path for path in sorted(source.iterdir()) if path.is_file()
            and path.suffix.lower() in (".csv", *WORKBOOKS)
            and not path.name.startswith(".") and path.name not in READ_ELSEWHERE]  # fmt: skip


def _matched(
    source: Path, known: Sequence[Matching], raws: list[Raw], others: list[str]
) -> tuple[list[Raw], list[str]]:
    """The same with the tables that a matching knows."""
    made: list[Raw] = []
    for table in foreign(source):
        matching = known_for(table, known)
        if matching is not None:
            raws = [raw for raw in raws if raw.file != table.file]
            others = [name for name in others if name not in (table.file, table.origin)]
            made += reshaped(table, matching)
    return [*raws, *made], others


def _files(source: Path) -> tuple[list[Raw], list[str]]:
    raws: list[Raw] = []
    others: list[str] = []
    for path in sorted(source.iterdir()) if source.is_dir() else [source]:
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


def _complete(source: Path, raws: list[Raw], others: list[str], needed: Sequence[str]) -> None:
    counts = Counter(raw.sheet for raw in raws)
    files = ", ".join(dict.fromkeys([raw.file for raw in raws] + others)) or "nothing"
    lacking = [name for name in needed if not counts[name]]
    if lacking or not raws:
        raise SourceError(
            f"{source}: no {' and no '.join(lacking or ['known'])} sheet; found: {files}; "
            f"needed: {', '.join(f'{name}.csv' for name in NEEDED)} (or tabs of these names); a "
            "table with other headers needs a matching of its columns"
        )
    once = {raw.sheet for raw in raws if not raw.names} - {"weather"}
    twice = [name for name, count in counts.items() if count > 1 and name in once]
    if twice:
        raise SourceError(f"{source}: more than one {', '.join(twice)} sheet; found: {files}")
