"""Pages for a printer and for a browser, with facts as data, never as markup.

`prints/` holds what typst sets, `templates/` what jinja2 fills.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:  # a sheet or a PDF needs no page
    from jinja2 import Environment

WHOLE = 14  # letters of a name that always fit in one line
PRINTS, TEMPLATES = (Path(__file__).with_name(name) for name in ("prints", "templates"))
GAP = "\u200b"


def printed(
    template: str,
    facts: Mapping[str, object],
    form: Literal["pdf", "svg"] = "pdf",
    *,
    accessible: bool = False,
) -> bytes:
    """The template filled with `facts`; an SVG holds one page. Equal facts give equal bytes.

    accessible: as PDF/UA-1, with typst's own fonts alone, so that every machine gives the same
    bytes; `readable` has to have gone over the facts.
    """
    import typst

    text = json.dumps(facts, allow_nan=False)
    pages = typst.compile(
        PRINTS / f"{template}.typ", root=PRINTS, format=form, sys_inputs={"facts": text},
        pdf_standards=["ua-1"] if accessible else [], ignore_system_fonts=accessible,
    )  # fmt: skip
    return b"".join(pages) if isinstance(pages, list) else bytes(pages or b"")


def breakable(name: str) -> str:
    """A long name with places (zero-width spaces) at which it may go on in the next line."""
    return name if len(name) <= WHOLE else GAP.join(name)


def pages() -> Environment:
    """Templates for a browser; their filter `breakable` lets a long name go on in the next line."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    def broken(text: str) -> Markup:
        return Markup(" ").join(
            Markup("<wbr>").join(word) if len(word) > WHOLE
            else Markup("<span class=word>{}</span>").format(word) if "-" in word[1:]
            else word for word in text.split(" ")
        )  # fmt: skip

    made = Environment(
        loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined
    )
    made.filters["breakable"] = broken
    return made


def readable(text: str) -> str:
    """The text, with [U+0000] in place of each character that typst's own fonts do not have."""
    return "".join(one if _known(one) else f"[U+{ord(one):04X}]" for one in text)


@cache
def _known(letter: str) -> bool:
    if letter.isascii() or letter == GAP:
        return letter.isprintable() or letter == GAP
    import typst

    page = b'#set document(title: "x")\n#set text(font: ("Libertinus Serif", "DejaVu Sans Mono"))\n'
    try:
        typst.compile(
            page + f"#{json.dumps(letter, ensure_ascii=False)}".encode(), format="pdf",
            pdf_standards=["ua-1"], ignore_system_fonts=True,
        )  # fmt: skip
    except typst.TypstError:
        return False
    return letter.isprintable()
