"""Where results go: JSON to a file or the screen, tables to the screen, progress to stderr."""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import fields, is_dataclass
from datetime import date
from pathlib import Path
from typing import Any

from rich import box
from rich.console import Console
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn
from rich.table import Table

from aging.errors import CallError
from aging.vocabulary import property_named

PIPED_WIDTH = 120
Step = Callable[[int, int], None]


def watched() -> bool:
    """Whether stdout is a terminal."""
    return sys.stdout.isatty()


def attended() -> bool:
    """Whether stderr is a terminal, where progress may move."""
    return sys.stderr.isatty()


def screen() -> Console:
    """Console on stdout: the terminal's width, or a fixed one where the output is piped."""
    width = None if watched() else PIPED_WIDTH
    return Console(width=width, highlight=False, markup=False, emoji=False)


def table(headers: Sequence[str], left: int = 1) -> Table:
    """An empty table; the first `left` columns hold text, the others figures."""
    lines = box.SIMPLE_HEAD if watched() else None
    grid = Table(box=lines, padding=(0, 1, 0, 0), pad_edge=False)
    for place, header in enumerate(headers):
        if place < left:
            grid.add_column(header, overflow="fold")
        else:
            grid.add_column(header, justify="right", no_wrap=True)
    return grid


def give(target: str | None, facts: Mapping[str, Any], show: Callable[[], None]) -> None:
    """Write `facts` as JSON to the file `target` ("-": stdout); show the tables unless "-"."""
    if target != "-":
        show()
    if target is not None:
        text = json.dumps(plain(facts), indent=2, ensure_ascii=False, allow_nan=False) + "\n"
        if target == "-":
            sys.stdout.write(text)
        else:
            Path(target).write_text(text, encoding="utf-8")


def plain(value: Any) -> Any:
    """`value` in JSON's own types: a frame as a list of rows, what is not a number as null."""
    if hasattr(value, "to_dict"):
        return [plain(row) for row in value.to_dict("records")]
    if is_dataclass(value):
        return {one.name: plain(getattr(value, one.name)) for one in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [plain(one) for one in value]
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, date):
        value = value.isoformat()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


@contextmanager
def progress(what: str) -> Iterator[Step]:
    """A bar on stderr while a terminal watches; yields step(done, total)."""
    with Progress(
        TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeElapsedColumn(),
        console=Console(stderr=True), transient=True, disable=not attended(),
    ) as bar:  # fmt: skip
        task = bar.add_task(what, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def numbers(option: str, text: str) -> list[float]:
    """The numbers of "12,24,36"; CallError where one is none."""
    try:
        return [float(part) for part in text.split(",")]
    except ValueError:
        raise CallError(f"{option}: {text!r} is not allowed; allowed: 36, or 12,24,36") from None


def counts(option: str, text: str) -> list[int]:
    """The whole numbers of "1,2,3"; CallError where one is none."""
    found = numbers(option, text)
    if any(one != int(one) for one in found):
        raise CallError(f"{option}: {text!r} is not allowed; allowed: whole numbers, 1,2,3")
    return [int(one) for one in found]


def asked(months: str, level: float, measured: str, *, retention: bool = False) -> list[float]:
    """The months of a projection, with level and property checked before anything is read."""
    from aging.projection.fit import asked as allowed

    return allowed(
        numbers("--months", months), level, property_named(measured), retention=retention
    )


def is_day(text: str) -> bool:
    """Whether a text is a day as YYYY-MM-DD."""
    try:
        return f"{date.fromisoformat(text)}" == text
    except ValueError:
        return False
