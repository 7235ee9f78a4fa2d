"""The nomenclature table is law: it names every property and every column, with unit and range."""

from __future__ import annotations

import math

import pytest
from house import ROOT, table_rows

from aging.records import SHEETS, Column
from aging.vocabulary import DERIVED, PROPERTIES

ROWS = table_rows("DEVELOPERS.md")["name symbol meaning unit range column"]
BY_COLUMN = {row[-1]: row for row in ROWS}


def span(low: float, high: float) -> str:
    if math.isinf(high):
        return "any" if math.isinf(low) else f"{low:g} or more"
    return f"{low:g} to {high:g}"


def allowed(column: Column) -> str:
    if column.kind == "number":
        return span(column.low, column.high)
    if column.allowed and column.allowed != tuple(PROPERTIES):
        return ", ".join(column.allowed)
    return {"text": "text", "list": "numbers"}.get(column.kind, "ISO 8601")


@pytest.mark.parametrize("name", [*PROPERTIES, *DERIVED])
def test_property_stands_as_in_the_vocabulary(name):
    prop = {**PROPERTIES, **DERIVED}[name]
    label, symbol, meaning, unit, reach, _ = BY_COLUMN[name]
    assert (label, symbol, unit, reach) == (
        prop.label, prop.symbol, prop.unit, span(prop.low, prop.high),
    )  # fmt: skip
    direction = {True: "higher is better", False: "lower is better", None: "neither way is better"}
    assert meaning == f"{prop.method}; {prop.scale}; {direction[prop.higher_is_better]}"


def test_every_column_stands_with_its_range():
    seen = set()
    for sheet in SHEETS.values():
        for column in sheet.columns:
            key = f"{sheet.name}.{column.name}"
            if key in BY_COLUMN:
                assert BY_COLUMN[key][4] == allowed(column), key
                seen.add(column.name)
            else:
                assert column.name in seen, f"{key} is missing from the nomenclature"


def test_the_model_is_told():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    model = text.split("## The model\n")[1].split("\n## ")[0]
    assert len(model.split()) > 100
