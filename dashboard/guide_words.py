"""What the pages of help and methods say; longer texts stand in guides/*.md."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from pathlib import Path

import pandas as pd

from aging.backtesting import measured as record
from aging.decay.priors import ANY
from aging.vocabulary import Property

HELP, METHODS = "Help", "Methods"
PLACE = Path(__file__).with_name("guides")
GUIDES = {
    "log_a_visit": "Log a visit",
    "judge_an_additive": "Judge an additive",
    "make_a_claim": "Make a claim",
    "commands": "All commands",
}
COMMANDS_ARE = (
    "Typed in a terminal. SOURCE is an exposure folder, a workbook, a store file or the URL of a "
    "PostgreSQL store. `aging COMMAND --help` tells the same."
)
WHICH = "I want to"

READING = (
    "A reading is what the panel's state, the visit and the spot make of it. The model keeps the "
    "three apart. For panel p of formulation g at visit v, exposed for t months, with the soiling "
    "state x above the site's average:"
)
EQUATION = (
    r"\begin{aligned} y ={}& a_g + u_p - (L_g + w_p)\,\varphi(t) \\"
    r"& - c_g\,L_0\,\tfrac{\partial\varphi}{\partial\log k}(t) - d_g\,s(t) \\"
    r"& - m_g\,x + \nu_v + \xi_{gv} + \varepsilon \end{aligned}"
)
TERMS = (
    ("a, u", "initial value of the formulation, and how far a panel departs from it"),
    ("L, w", "loss that soiling takes, and how far a panel departs from it"),
    ("c, L0", "how much faster or slower than its site the formulation soils; loss of the site"),
    ("phi(t)", "course of the loss, 0 at the start: an average over the courses below"),
    ("d, s(t)", "slow loss that goes on, steadily or with a late onset; it is never left out"),
    ("m", "effect of dry days since the last rain"),
    ("nu", "what a visit shares (weather, set-up, operator); a lone storm bends no curve"),
    ("xi", "what the panels of one formulation share at a visit"),
    ("epsilon", "repeat of a reading"),
)  # fmt: skip
TERM_COLUMNS = {"term": "Term", "meaning": "What it is"}
HOW_FITTED = (
    "Rate, spreads and kind of slow loss are laid on a grid, and everything else is worked out "
    "exactly at each of its points; an interval is made of draws from all of them, weighed by how "
    "well they explain the readings. Between courses the weight is the prior's, then moves with "
    "how well each foretold the later readings. At one site the upper end is drawn in as the "
    "table asks (`upper_half`), since simulated readings of solar reflectance passed the model's "
    "own less often than promised; bounds, differences and means over sites are the model's own. "
    "The same readings give the same digits."
)
COURSES = "Courses of the loss"
COURSE_COLUMNS = {"name": "Course", "equation": "Share of the loss after t", "about": "Where from"}
COURSES_SHOWN = (
    "With the middle of its prior for {label}, two thirds of the loss are reached after {each}."
)
PRIORS = "What the model believes before it sees a reading"
PRIORS_ARE = (
    "These values are data: `--priors` takes another table. They are printed with every result. "
    "Rows of a climate stand before the general ones."
)
CLIMATE = "Climate"
EVERY_CLIMATE = "any other, or not named"
PRIOR_COLUMNS = {
    "quantity": "Name in the table of priors", "value": "Value", "spread": "Spread", "unit": "Unit",
    "source": "Source",
}  # fmt: skip
MEASURED = "What the intervals were measured to hold"
MEASURED_ARE = (
    "Simulated campaigns whose courses no projection assumes, {campaigns} of each kind: the "
    "reading at {months} months forecast from what was known after 6 to 24, with intervals of "
    "{level:g} %. Your own ledger's record stands on the page of forecasts."
)
MEASURED_TOLD = (
    "Of the {level:g} % intervals, {low:.0f} to {high:.0f} % held, by kind of campaign and months "
    "known; the promise is {level:g} %. Wider than need be where the course is easy; least held: "
    "{worst} after {months} months."
)
MEASURED_COLUMNS = {
    "course": "Kind of campaign", "cut": "Months known", "coverage": "Intervals that held",
    "error_ratio": "Error over a simple forecast's", "below": "Under the 95 % bound",
    "difference": "Held, difference to control",
}  # fmt: skip
HELD_BY_MONTHS = "Held, {months} months"
TABLES = "Rules that are data"
TABLES_ARE = "Each row has its source, or says that it is assumed or from memory."
TABLE_NAMES = {
    "gates": "What a claim's evidence must have",
    "checks": "What is questioned in a reading",
    "guards": "Properties that a winner must not fail",
    "criteria": "Criteria of programmes; check the edition in force where you build",
    "defaults": "Default formula for aged reflectance",
}


def terms() -> pd.DataFrame:
    """Terms of the equation: term, meaning."""
    return pd.DataFrame(TERMS, columns=["term", "meaning"])


def climate(name: str) -> str:
    """A climate as people read it."""
    return EVERY_CLIMATE if name == ANY else name


def courses(reached: pd.Series, prop: Property) -> str:
    """When each course has run through most of its loss."""
    each = ", ".join(f"{month:.0f} months ({name})" for name, month in reached.items())
    return COURSES_SHOWN.format(label=prop.within, each=each)


def measured_are() -> str:
    """How the record was measured."""
    return MEASURED_ARE.format(
        campaigns=record.CAMPAIGNS, months=record.MONTHS, level=100 * record.PROMISED
    )


def measured_told(found: pd.DataFrame) -> str:
    """The range of what held, and where least did."""
    held = 100 * found["coverage"]
    worst = found.loc[held.idxmin()]
    return MEASURED_TOLD.format(
        level=100 * record.PROMISED, low=held.min(), high=held.max(), worst=worst["course"],
        months=worst["cut"],
    )  # fmt: skip


def held_columns(months: Iterable[int]) -> dict[str, str]:
    """Labels of what held, by the months known."""
    each = {str(one): HELD_BY_MONTHS.format(months=one) for one in months}
    return {"course": MEASURED_COLUMNS["course"], **each}


def commands() -> list[str]:
    """Names of the commands that the reference tells of."""
    return list(_sections())


def call(command: str) -> str:
    """How a command is called."""
    return _sections()[command][0]


def options(command: str) -> str:
    """What a command does and its options, as Markdown."""
    return _sections()[command][1]


@cache
def _sections() -> dict[str, tuple[str, str]]:
    parts = [part.split("\n", 1) for part in guide("commands").split("\n### ")[1:]]
    return {head.split()[1]: (head, text) for head, text in parts}


def guide(name: str) -> str:
    """The text of a guide, as Markdown of our own."""
    return (PLACE / f"{name}.md").read_text(encoding="utf-8")
