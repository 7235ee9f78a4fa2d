"""Rules of the house that a review forgets: no user text as markup, small views, one look."""

from __future__ import annotations

import ast
import tomllib
from pathlib import Path

import pytest

from aging.charts import style

DASHBOARD = Path(__file__).parents[2] / "dashboard"
FILES = sorted(DASHBOARD.rglob("*.py"))
MARKUP = {"markdown", "caption", "title", "header", "subheader", "info", "warning", "error",
          "success", "toast", "write", "expander", "button", "html", "metric"}  # fmt: skip
THEME = tomllib.loads((DASHBOARD / ".streamlit" / "config.toml").read_text("utf-8"))["theme"]


def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def ours(node: ast.expr) -> bool:
    """Whether an argument is a constant or comes from a module of words."""
    if isinstance(node, ast.Constant):
        return True
    if isinstance(node, ast.Call):
        node = node.func
    while isinstance(node, ast.Attribute | ast.Subscript):
        node = node.value
    return isinstance(node, ast.Name) and node.id.endswith(("wording", "words"))


def markup_calls(source: str) -> list[ast.expr]:
    calls = [n for n in ast.walk(ast.parse(source)) if isinstance(n, ast.Call)]
    return [
        call.args[0]
        for call in calls
        if isinstance(call.func, ast.Attribute) and call.func.attr in MARKUP and call.args
    ]


def test_files_are_found():
    assert {"app.py", "parts.py", "overview.py"} <= {file.name for file in FILES}


@pytest.mark.parametrize("file", FILES, ids=lambda f: f.name)
def test_no_page_renders_raw_html_or_user_text_as_markup(file):
    source = file.read_text("utf-8")
    assert "unsafe_allow_html" not in source
    assert "use_container_width" not in source
    assert source.count("unsafe_allow_javascript") == (file.name == "entry.py")  # trades a ticket
    others = {ast.unparse(arg) for arg in markup_calls(source) if not ours(arg)}
    assert others <= ({"label"} if file.name == "parts.py" else set())  # of parts.figures


def test_the_markup_check_sees_a_variable():
    assert not ours(markup_calls("import streamlit as st\nst.markdown(name)")[0])
    assert not ours(markup_calls("import streamlit as st\nst.error(f'{error}')")[0])


def test_views_are_small_and_not_in_a_folder_that_streamlit_claims():
    views = [file for file in FILES if file.parent.name == "views"]
    assert all(len(file.read_text("utf-8").splitlines()) < 150 for file in views)
    assert not (DASHBOARD / "pages").exists()


@pytest.mark.parametrize(
    ("ink", "paper"),
    [("textColor", "backgroundColor"), ("textColor", "secondaryBackgroundColor"),
     ("textColor", "dataframeHeaderBackgroundColor"), ("linkColor", "backgroundColor"),
     ("backgroundColor", "primaryColor")],
)  # fmt: skip
def test_words_have_the_contrast_of_wcag_aa(ink, paper):
    low, high = sorted((luminance(THEME[ink]), luminance(THEME[paper])))
    assert (high + 0.05) / (low + 0.05) >= 4.5


def test_charts_and_pages_share_one_look():
    assert THEME["backgroundColor"] == style.PAGE
    assert THEME["textColor"] == style.INK
    assert tuple(THEME["chartCategoricalColors"]) == style.PALETTE
    assert THEME["primaryColor"] == style.PALETTE[0]
