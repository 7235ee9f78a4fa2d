"""Results kept on disk, so that a restart need not reckon again what it reckoned before.

An entry is named by a digest of all that it follows from, the code of this package and the
releases of the libraries that compute among it: it is never out of date, and nothing need ever be
taken back. Entries are a convenience: without them the same digits come, later. The folder is the
user's own cache; AGING_CACHE names another, or "off". One where others may write is not used.

A file says its size and checksum first, then in JSON what it holds, then follow frames and arrays
as Arrow messages, which are read in place. A file that does not fit its checksum is thrown away.
"""

from __future__ import annotations

import json
import os
import tempfile
import zlib
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cache
from hashlib import sha256
from importlib.metadata import version
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import numpy.typing as npt
import pandas as pd
import platformdirs
import pyarrow as pa

CACHE, OFF = "AGING_CACHE", "off"
MOST_BYTES = 4 << 30
LIBRARIES = ("numpy", "scipy", "pandas", "pyarrow", "statsmodels")
_SUFFIX, _ALIGNED, _AT_ONCE = ".kept", 64, 1 << 24
_OTHERS_WRITE = 0o022


@dataclass(frozen=True)
class Kept:
    """What an entry holds: facts that JSON can tell, frames with a plain index, numeric arrays."""

    facts: dict[str, Any] = field(default_factory=dict)
    frames: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    arrays: Mapping[str, npt.NDArray[Any]] = field(default_factory=dict)


def folder() -> Path | None:
    """Where entries lie; None where AGING_CACHE is "off" or the place is not the user's own."""
    named = os.environ.get(CACHE)
    if named == OFF:
        return None
    place = Path(named).expanduser() if named else platformdirs.user_cache_path("aging")
    try:
        place.mkdir(mode=0o700, parents=True, exist_ok=True)
        seen = place.stat()
    except OSError:
        return None
    own = os.name != "posix" or (seen.st_uid == os.geteuid() and not seen.st_mode & _OTHERS_WRITE)
    return place if own else None


def digest(*parts: object) -> str:
    """Digest of arrays, text, numbers and what is nested of them, and of the code that runs."""
    told = sha256(_code())
    for part in parts:
        _tell(told, part)
    return told.hexdigest()


def _tell(told: Any, part: object) -> None:
    if isinstance(part, np.ndarray):
        told.update(f"{part.dtype.str}{part.shape}".encode())
        told.update(np.ascontiguousarray(part).tobytes())
    elif isinstance(part, pd.DataFrame):
        _tell(told, [*part.columns])
        told.update(pd.util.hash_pandas_object(part).to_numpy().tobytes())
    elif isinstance(part, Mapping):
        _tell(told, list(part.items()))
    elif isinstance(part, list | tuple):
        told.update(f"[{len(part)}".encode())
        for each in part:
            _tell(told, each)
    else:
        text = repr(part)
        told.update(f"{type(part).__name__}{len(text)}:{text}".encode())


@cache
def _code() -> bytes:
    """Digest of the package's files and of the libraries' releases."""
    told = sha256(repr([version(name) for name in LIBRARIES]).encode())
    root = Path(__file__).parent
    for file in sorted(path for path in root.rglob("*") if path.suffix in {".py", ".csv"}):
        told.update(f"{file.relative_to(root)}\n".encode())
        told.update(file.read_bytes())
    return told.digest()


def names(kind: str) -> set[str]:
    """Names of the entries of a kind."""
    place = folder()
    prefix = f"{kind}-"
    found = [] if place is None else place.glob(f"{prefix}*{_SUFFIX}")
    return {path.name.removeprefix(prefix).removesuffix(_SUFFIX) for path in found}


def has(kind: str, name: str) -> bool:
    """Whether there is such an entry, sound or not."""
    path = _path(kind, name)
    return path is not None and path.exists()


def get(kind: str, name: str) -> Kept | None:
    """An entry; None where there is none that is sound. Its arrays cannot be written to."""
    path = _path(kind, name)
    if path is None or not path.exists():
        return None
    try:
        kept = _read(path)
        os.utime(path)  # the longest unused goes first
    except (OSError, ValueError, KeyError, TypeError, pa.ArrowException):
        with suppress(OSError):
            path.unlink()
        return None
    return kept


def put(kind: str, name: str, kept: Kept) -> None:
    """Keep an entry, whole or not at all; where it cannot be written, it is not kept."""
    path = _path(kind, name)
    if path is None:
        return
    with suppress(OSError):
        handle, draft = tempfile.mkstemp(dir=path.parent, suffix=".draft")
        try:
            with os.fdopen(handle, "w+b") as file:
                _write(file, kept)
            Path(draft).replace(path)
        finally:
            Path(draft).unlink(missing_ok=True)
        _make_room(path.parent)


def _path(kind: str, name: str) -> Path | None:
    place = folder()
    return None if place is None else place / f"{kind}-{name}{_SUFFIX}"


def _write(file: BinaryIO, kept: Kept) -> None:
    head = {"facts": kept.facts, "frames": list(kept.frames), "arrays": list(kept.arrays)}
    text = json.dumps(head).encode()
    text += b" " * (-len(text) % _ALIGNED)
    file.write(b" " * _ALIGNED + text)
    sink = pa.PythonFile(file, mode="w")
    for frame in kept.frames.values():
        table = pa.Table.from_pandas(frame)
        with pa.ipc.new_stream(sink, table.schema) as stream:
            stream.write_table(table)
    for array in kept.arrays.values():
        pa.ipc.write_tensor(pa.Tensor.from_numpy(np.ascontiguousarray(array)), sink)
    first = f"{file.tell()} {_checksum(file)} {len(text)}"
    file.seek(0)
    file.write(first.ljust(_ALIGNED).encode())


def _read(path: Path) -> Kept:
    with path.open("rb") as file:
        size, checksum, length = map(int, file.read(_ALIGNED).split())
        if path.stat().st_size != size or _checksum(file) != checksum:
            raise ValueError(path)
    source = pa.memory_map(str(path))
    source.seek(_ALIGNED)
    head = json.loads(source.read(length))
    frames = {
        name: pa.ipc.open_stream(source).read_all().to_pandas(split_blocks=True)
        for name in head["frames"]
    }
    arrays = {name: pa.ipc.read_tensor(source).to_numpy() for name in head["arrays"]}
    return Kept(head["facts"], frames, arrays)


def _checksum(file: BinaryIO) -> int:
    """Of all but the first line; read piece by piece, so that it does not stay in memory."""
    file.seek(_ALIGNED)
    found = 0
    while part := file.read(_AT_ONCE):
        found = zlib.crc32(part, found)
    return found


def _make_room(place: Path) -> None:
    """Take the longest unused entries away where all together are larger than MOST_BYTES."""
    found = sorted(
        ((seen.st_mtime, seen.st_size, entry) for entry in place.glob(f"*{_SUFFIX}")
         for seen in [entry.stat()]), reverse=True,
    )  # fmt: skip
    total = 0
    for _, size, entry in found:
        total += size
        if total > MOST_BYTES:
            entry.unlink(missing_ok=True)
