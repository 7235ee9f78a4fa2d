"""Files that a person hands over, one by one or in a ZIP, laid out as a folder to read.

Of a ZIP the sheets of its uppermost folder that has any are taken, and the folder `weather` beside
them. Names are shortened to their last part, so that nothing lands outside the folder.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Iterable, Sequence
from pathlib import Path, PurePosixPath

from aging.errors import SourceError
from aging.intake.raw import shown
from aging.intake.tables import WORKBOOKS
from aging.intake.workbook import MOST_BYTES

ROUND = ".json"  # what a round sheet saved: read by itself
READ = (".csv", *WORKBOOKS, ROUND)
MOST_FILES, LONGEST_NAME = 500, 200


def laid_out(files: Sequence[tuple[str, bytes]], folder: Path) -> Path:
    """Write files (name, content) into `folder`; the folder, or the one file in it.

    SourceError for a ZIP that is damaged, locked or too large, for two files of one name, and where
    nothing can be read.
    """
    found: dict[PurePosixPath, bytes] = {}
    for name, content in files:
        inside = _unzipped(name, content) if name.lower().endswith(".zip") else [(name, content)]
        for path, data in inside:
            place = _place(path)
            if place in found:
                raise SourceError(f"{shown(path)}: two files have this name; rename one")
            if place.suffix.lower() in READ:
                found[place] = data
    if not found:
        raise SourceError(f"nothing to read; give files that end with {', '.join(READ)}, or a .zip")
    if len(found) > 1 and any(place.suffix.lower() == ROUND for place in found):
        raise SourceError("a round file and others: bring each round file by itself")
    for place, data in found.items():
        (folder / place).parent.mkdir(exist_ok=True)
        (folder / place).write_bytes(data)
    alone = len(found) == 1
    return folder / next(iter(found)) if alone else folder


def _place(path: str) -> PurePosixPath:
    parts = PurePosixPath(path.replace("\\", "/")).parts
    name = parts[-1].lstrip(".") if parts else ""
    if not (name.isprintable() and 0 < len(name.encode()) <= LONGEST_NAME):
        raise SourceError(f"{shown(path)}: no name for a file; rename it")
    beside = len(parts) > 1 and parts[-2].lower() == "weather"
    return PurePosixPath("weather", name) if beside else PurePosixPath(name)


def _unzipped(name: str, content: bytes) -> Iterable[tuple[str, bytes]]:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            members = [one for one in archive.infolist() if _wanted(one.filename)]
            if len(members) > MOST_FILES or sum(one.file_size for one in members) > MOST_BYTES:
                most = f"{MOST_FILES} files or {MOST_BYTES / 1e6:g} MB"
                raise SourceError(f"{name}: more than {most}; load it in parts")
            mine = _uppermost([one.filename for one in members])
            return [
                (one.filename, _bounded(archive, one)) for one in members if one.filename in mine
            ]
    except (zipfile.BadZipFile, zlib.error, RuntimeError, EOFError, ValueError) as error:
        raise SourceError(f"{name}: no whole ZIP, or locked by a password ({error})") from error


def _bounded(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> bytes:
    """The member, no longer than it says it is: the sum of these sizes is bounded."""
    with archive.open(member) as stream:
        data = stream.read(member.file_size + 1)
    if len(data) > member.file_size:
        raise SourceError(f"{shown(member.filename)}: longer than the ZIP says; pack it anew")
    return data


def _wanted(name: str) -> bool:
    path = PurePosixPath(name)
    hidden = any(part.startswith((".", "__")) for part in path.parts)
    return path.suffix.lower() in READ and not hidden


def _uppermost(names: Sequence[str]) -> set[str]:
    paths = {name: PurePosixPath(name) for name in names}
    sheets = [path for path in paths.values() if path.parent.name.lower() != "weather"]
    if not sheets:
        return set(names)
    top = min((path.parent for path in sheets), key=lambda parent: len(parent.parts))
    return {name for name, path in paths.items() if path.parent in (top, *_weather(top, paths))}


def _weather(top: PurePosixPath, paths: dict[str, PurePosixPath]) -> list[PurePosixPath]:
    return [path.parent for path in paths.values()
            if path.parent.parent == top and path.parent.name.lower() == "weather"]  # fmt: skip
