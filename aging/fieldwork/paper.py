"""Pages for a printer: templates of `prints/` set by typst, with facts as data, never as markup."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Literal

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
