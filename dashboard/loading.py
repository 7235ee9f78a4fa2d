"""Files that a person brings: laid out, matched, looked at, and stored once."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd
import streamlit as st

from aging import intake
from aging.checks import check, own_limits
from aging.errors import AgingError, SourceError
from aging.fieldwork import read_round
from aging.intake.matching import Matching, from_sheet, known_for, propose, to_sheet
from aging.intake.tables import Table
from aging.intake.uploads import ROUND, laid_out
from aging.ledger import open_ledger
from aging.records import SHEETS, Exposure, Intake
from dashboard import data, entry, log, start
from dashboard import load_words as words

SHOWN = 20
STORED = "stored by load"


@dataclass(frozen=True)
class Target:
    """Where rows go: a store that is there (`known`, with its matchings), or a new one."""

    store: str
    known: Exposure | None
    matchings: tuple[Matching, ...] = ()


@dataclass(frozen=True)
class Seen:
    """What would be stored: new readings, those that are there, other facts, doubts of the new."""

    read: Intake
    new: pd.DataFrame
    already: int
    facts: int
    doubts: pd.DataFrame


@st.cache_resource(max_entries=8, show_spinner=False)
def _folder(key: str) -> Path:  # noqa: ARG001 - one for each
    return start.own_folder()


def brought(files: Sequence[tuple[str, bytes]]) -> Path:
    """The files as a folder or one file on this machine; AgingError where they cannot be read."""
    digest = hashlib.sha256()
    for name, content in files:
        digest.update(f"{name}\n{len(content)}\n".encode())
        digest.update(content)
    folder = _folder(digest.hexdigest()) / "files"
    made = sorted(folder.rglob("*")) if folder.is_dir() else []
    if not made:
        folder.mkdir(exist_ok=True)
        return laid_out(files, folder)
    whole = [path for path in made if path.is_file()]
    return whole[0] if len(whole) == 1 else folder


def told_of(error: AgingError) -> str:
    """An error without the folder in which files were laid out."""
    return re.sub(r"\S*aging-[^/\\]+[/\\]files[/\\]?", "", str(error))


def target_of(store: str) -> Target:
    """A store that is there, with what it knows; AgingError where it cannot be read."""
    known = data.opened(store).exposure
    return Target(store, known, tuple(from_sheet(known.matchings)))


def told(table: Table, target: Target) -> tuple[Matching, bool]:
    """What the headers of a table mean, and whether a person said so before."""
    remembered = known_for(table, target.matchings)
    return remembered or propose(table), remembered is not None


def looked_at(
    path: Path, target: Target, matchings: Sequence[Matching], *, day_first: bool | None
) -> Seen:
    """Check all rows against the rules and the store; nothing is stored. AgingError: unreadable."""
    revision = data.mark_of(target.store) if target.known is not None else ()
    key = repr((_mark(path), target.store, revision, matchings, day_first))
    return _looked_at(key, path, target, matchings, day_first)


def tables(path: Path) -> list[Table]:
    """Tables that need a matching, see `intake.foreign`."""
    return _tables(repr(_mark(path)), path)


def _mark(path: Path) -> list[tuple[str, int, int]]:
    """What changes when the files do that intake looks at."""
    files = [path] if path.is_file() else [*path.glob("*"), *path.glob("weather/*")]
    return [(str(one), one.stat().st_mtime_ns, one.stat().st_size) for one in sorted(files)]


@st.cache_resource(max_entries=4, show_spinner=words.LOOKING)
def _tables(key: str, _path: Path) -> list[Table]:  # noqa: ARG001 - the cache's own
    return [] if _path.suffix.lower() == ROUND else intake.foreign(_path)


@st.cache_resource(max_entries=4, show_spinner=words.LOOKING)
def _looked_at(
    key: str,  # noqa: ARG001 - the cache's own
    _path: Path,
    _target: Target,
    _matchings: Sequence[Matching],
    _day_first: bool | None,
) -> Seen:
    read = _read(_path, _target, _matchings, _day_first)
    rows = read.exposure.readings
    there = set[str]()
    if _target.known is not None:
        with open_ledger(_target.store) as book:
            there = set(book.history()["reading_id"])
    new = rows[~rows["reading_id"].isin(there)]
    facts = _facts(read.exposure, _target.known)
    return Seen(read, new, len(rows) - len(new), facts, _doubts(read.exposure, new, _target))


def _read(
    path: Path, target: Target, matchings: Sequence[Matching], day_first: bool | None
) -> Intake:
    if path.suffix.lower() != ROUND:
        return intake.read(path, day_first=day_first, matchings=matchings, known=target.known)
    if target.known is None:
        raise SourceError(f"{path.name}: a round goes into the store that its panels are in")
    return read_round(path, target.known)


def _facts(found: Exposure, known: Exposure | None) -> int:
    """Rows of other sheets than readings that the store does not hold as they are."""
    frames = [(name, frame) for name, frame in found.frames() if name != "readings" and len(frame)]
    if known is None:
        return sum(len(frame) for _, frame in frames)
    return sum(
        int((frame.merge(getattr(known, name), how="left", indicator=True)["_merge"] == "left_only")
            .sum())
        for name, frame in frames
    )  # fmt: skip


def _doubts(found: Exposure, new: pd.DataFrame, target: Target) -> pd.DataFrame:
    """What the rules of stored readings would ask of the new ones."""
    both = found if target.known is None else _together(target.known, found)
    if new.empty:
        return pd.DataFrame()
    try:
        asked = check(both, limits=own_limits(target.store)).open
    except AgingError:
        return pd.DataFrame()
    return asked[asked["reading_id"].isin(new["reading_id"])]


def _together(known: Exposure, more: Exposure) -> Exposure:
    """Facts of both, the later before the earlier of one key."""
    return Exposure(**{
        name: pd.concat([frame, getattr(more, name)]).drop_duplicates(
            list(SHEETS[name].key), keep="last", ignore_index=True
        )
        for name, frame in known.frames()
    })  # fmt: skip


def store(seen: Seen, target: Target, matchings: Sequence[Matching], by: str, what: str) -> None:
    """Store what was looked at, with the matchings; AgingError where the store refuses."""
    facts = seen.read.exposure
    if matchings:
        facts = replace(facts, matchings=to_sheet(matchings).matchings)
    if target.known is None:
        where = start.new_store(target.store)
        with open_ledger(where, create=True) as book:
            receipts = book.append(facts, by=by, source=what)
        data.name_source(where)
    else:
        with entry.doing(target.store, "log", what) as book:
            receipts = book.append(facts, by=entry.name() or by, source=what)
    log.known.clear()  # the page of a visit keeps panels for minutes
    log.sheet.clear()
    told = [words.stored({one.sheet: one for one in receipts}["readings"])]
    told += [words.conflict(finding) for one in receipts for finding in one.findings]
    st.session_state[STORED] = "\n".join(told)
