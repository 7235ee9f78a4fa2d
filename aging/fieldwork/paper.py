"""Pages for a printer: templates of `prints/` set by typst, with facts as data, never as markup."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Literal

WHOLE = 14  # letters of a name that always fit in one line
PRINTS = Path(__file__).with_name("prints")


def printed(
    template: str, facts: Mapping[str, object], form: Literal["pdf", "svg"] = "pdf"
) -> bytes:
    """The template filled with `facts`; an SVG holds one page. Equal facts give equal bytes."""
    import typst

    text = json.dumps(facts, allow_nan=False)
    pages = typst.compile(
        PRINTS / f"{template}.typ", root=PRINTS, format=form, sys_inputs={"facts": text}
    )
    return b"".join(pages) if isinstance(pages, list) else bytes(pages or b"")


def breakable(name: str) -> str:
    """A long name with places (zero-width spaces) at which it may go on in the next line."""
    return name if len(name) <= WHOLE else "\u200b".join(name)
