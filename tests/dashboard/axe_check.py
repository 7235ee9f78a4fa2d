"""What axe-core finds in a page: serious and critical findings in our own markup."""

from __future__ import annotations

from importlib.resources import files

AXE = files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
# Rule and place of what streamlit itself draws, with the reason.
THEIRS = {
    ("scrollable-region-focusable", ".katex-display"): "st.latex scrolls without a stop for Tab",
}


def findings(page) -> list[str]:
    """Serious and critical findings that are not streamlit's own, as 'rule: place'."""
    page.evaluate(AXE)
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")["violations"]
    grave = [one for one in found if one["impact"] in {"serious", "critical"}]
    places = [(one["id"], " ".join(map(str, node["target"]))) for one in grave
              for node in one["nodes"]]  # fmt: skip
    return [f"{rule}: {place}" for rule, place in places if not theirs(rule, place)]


def theirs(rule: str, place: str) -> bool:
    """Whether a finding is on the list of what streamlit itself draws."""
    return any(rule == known and place.endswith(end) for known, end in THEIRS)
