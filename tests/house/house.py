"""Where the project stands and what git keeps of it."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def kept_files() -> list[Path]:
    """Files in git and files about to be, relative to the root."""
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return [Path(line) for line in listed.stdout.splitlines() if (ROOT / line).is_file()]


def blocks(document: str, language: str) -> list[str]:
    """Fenced blocks of a language in a document of the root."""
    text = (ROOT / document).read_text(encoding="utf-8")
    return re.findall(rf"^```{language}\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)


def table_rows(document: str) -> dict[str, list[list[str]]]:
    """Rows of every table of a document, keyed by the header row's cells joined with a space."""
    tables: dict[str, list[list[str]]] = {}
    header = None
    for line in (ROOT / document).read_text(encoding="utf-8").splitlines():
        if not line.startswith("|"):
            header = None
            continue
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if header is None:
            header = " ".join(cells)
        elif not set(line) <= set("|-"):
            tables.setdefault(header, []).append(cells)
    return tables
