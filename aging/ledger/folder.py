"""The whole ledger as an exposure folder that loads back into an equal one.

Readings go out with those they superseded and with who recorded them and when; of the other
sheets the facts that stand go out, not their earlier versions. No cell is a formula to a
spreadsheet, and intake takes the apostrophes off again.
"""

from __future__ import annotations

import json
import re
import shutil
import tempfile
from pathlib import Path
from typing import Any

import pandas as pd

from aging.errors import CallError, LedgerError
from aging.ledger.ledger import Ledger
from aging.records import SHEETS, unrun, unrun_column


def export(ledger: Ledger, folder: str | Path) -> None:
    """Write `folder` anew: UTF-8, RFC 4180, ISO 8601 dates, extra facts in columns of their own.

    CallError where the folder holds anything already; LedgerError where it cannot be written. The
    folder appears only when it is complete.
    """
    target = Path(folder).expanduser().absolute()
    if target.exists() and not (target.is_dir() and not any(target.iterdir())):
        raise CallError(f"folder: {target} is not empty; allowed: a new or an empty folder")
    frames = dict(ledger.read().frames()) | {"readings": ledger.history()}
    try:
        draft = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
        try:
            _write(frames, draft)
            draft.chmod(0o755)
            if target.exists():
                target.rmdir()
            draft.rename(target)
        finally:
            shutil.rmtree(draft, ignore_errors=True)
    except OSError as error:
        raise LedgerError(f"folder {target}: cannot be written ({error.strerror})") from error


def _write(frames: dict[str, pd.DataFrame], folder: Path) -> None:
    for sheet, frame in frames.items():
        if sheet != "weather" and (len(frame) or SHEETS[sheet].required):
            _write_csv(frame, folder / f"{sheet}.csv")
    for number, (site, days) in enumerate(frames["weather"].groupby("site"), start=1):
        (folder / "weather").mkdir(exist_ok=True)
        path = folder / "weather" / (re.sub(r"[^\w-]", "_", str(site)) + ".csv")
        _write_csv(days, path.with_stem(f"{path.stem}-{number}") if path.exists() else path)


def _write_csv(frame: pd.DataFrame, path: Path) -> None:
    known = frame.drop(columns="extra")
    known = known.assign(**known.select_dtypes("str").apply(unrun_column))
    wide = pd.concat([known, _facts(frame["extra"])], axis="columns")
    wide.to_csv(path, index=False, float_format=_shortest, lineterminator="\r\n")


def _facts(extra: pd.Series) -> pd.DataFrame:
    """A column for each name in the JSON texts, in the order of the alphabet."""
    codes, texts = pd.factorize(extra)
    facts = pd.DataFrame(
        [{unrun(name): unrun(value) for name, value in json.loads(text).items()} for text in texts]
    )
    return facts.reindex(codes)[sorted(facts.columns)].set_axis(extra.index)


def _shortest(number: Any) -> str:
    """Fewest digits that read back as the same number."""
    return repr(float(number)).removesuffix(".0")
