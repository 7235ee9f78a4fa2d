"""Help and methods say what the program is: equations, tables and commands come from it."""

from __future__ import annotations

import re
from functools import partial

import numpy as np
import pandas as pd
import pytest
from app_page import opened

from aging.backtesting.measured import measured
from aging.cli.reference import reference
from aging.decay.paths import COURSES
from aging.decay.priors import priors_for
from aging.vocabulary import PROPERTIES
from dashboard import guide_words, methods


@pytest.fixture
def page(folder, monkeypatch):
    return partial(opened, monkeypatch, folder)


def test_the_command_reference_is_that_of_the_commands():
    kept = (guide_words.PLACE / "commands.md").read_text(encoding="utf-8")
    assert kept == reference(), "python -m aging.cli.reference > dashboard/guides/commands.md"


@pytest.mark.parametrize("course", COURSES.values(), ids=COURSES)
def test_each_course_runs_as_its_equation_says(course):
    t, k, span = np.linspace(0.5, 48, 20), 0.3, 36.0
    text = re.sub(r"([\dk)]) (?=[t(e])", r"\1 * ", course.equation).replace("^", "**")
    told = eval(text, {"exp": np.exp, "k": k, "n": k, "t": t, "span": span})  # noqa: S307 - our own
    np.testing.assert_allclose(course.phi(np.array([k]), t, span)[0], told, rtol=1e-12)


def test_the_guides_speak_of_pages_and_commands_that_exist():
    titles = set(re.findall(r"^### aging (\w+)", reference(), re.MULTILINE))
    for name in guide_words.GUIDES:
        told = set(re.findall(r"`aging ([a-z]+)", guide_words.guide(name)))
        assert told <= titles, name


def test_help_opens_the_guide_of_its_address(page):
    app = page("help", guide="make_a_claim")
    assert app.markdown[0].value == guide_words.guide("make_a_claim").strip()


def test_the_reference_folds_each_command_away(page):
    app = page("help", guide="commands")
    assert len(app.expander) == reference().count("\n### ")
    assert app.expander[0].label == "aging check [SOURCE]"


def test_methods_show_the_priors_that_fit(page):
    app = page("methods", climate="hot-humid")
    shown = next(one.value for one in app.dataframe if "spread" in one.value)
    used = priors_for(PROPERTIES["solar_reflectance"], climate="hot-humid").table
    pd.testing.assert_frame_equal(
        shown.set_index("quantity"), used[["value", "spread", "unit", "source"]]
    )
    assert app.latex[0].value.strip("$\n ") == guide_words.EQUATION


def test_the_record_told_is_the_record_measured(page):
    app = page("methods")
    shown = next(one.value for one in app.dataframe if "coverage" in one.value)
    wide = next(one.value for one in app.dataframe if "18" in one.value)
    found = measured()
    at_18 = found[found["cut"] == 18].set_index("course")["coverage"]
    assert wide.set_index("course")["18"].to_dict() == at_18.to_dict()
    pd.testing.assert_frame_equal(shown, found[list(shown)])
    low, high = (f"{100 * one:.0f}" for one in (found["coverage"].min(), found["coverage"].max()))
    assert any(f"{low} to {high} % held" in text.value for text in app.text)
    (said,) = [text.value for text in app.text if "least held: " in text.value]
    course, month = said.partition("least held: ")[2].removesuffix(" months.").split(" after ")
    least = found[(found["course"] == course) & (found["cut"] == int(month))]
    assert least["coverage"].item() == found["coverage"].min()


def test_two_thirds_of_the_loss_are_where_the_course_says():
    frame = pd.DataFrame({
        "months": [0.0, 1, 2, 0, 1, 2], "share": [0, 0.5, 0.7, 0, 0.1, 0.2],
        "course": ["a"] * 3 + ["b"] * 3,
    })  # fmt: skip
    assert methods.reached(frame).to_dict() == {"a": 2.0}
