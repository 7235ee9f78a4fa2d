"""The sections of the navigation, their first pages, and what the very first page says."""

from __future__ import annotations

WAYS, WAYS_HEADING = "Find your way", "What do you want to do?"
SECTIONS = {
    "visit": "Visit the racks", "judge": "Judge formulations",
    "claim": "Make and watch claims", "keep": "Look after the data", "help": "Help and methods",
}  # fmt: skip
ASKED = {
    "visit": "Which visits are due, and which readings are in doubt?",
    "judge": "Which formulation leads, and how sure is it?",
    "claim": "Which claims still hold, and what would break them?",
    "keep": "What hangs where, since when, and what needs attention?",
    "help": "How is it done, and how is it worked out?",
}
DUE, LEADING, HOLDING = "Due and doubtful", "Who leads", "What holds"
