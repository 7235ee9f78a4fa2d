"""Sentences carry the unit of the property, and "better" only where one way is better."""

from __future__ import annotations

import pandas as pd
import pytest

from aging.charts import quantity, quantity_within
from aging.comparison.dose import DoseResponse
from aging.vocabulary import property_named
from dashboard import claim_words, trial_wording, wording

VALUE = pd.Series({
    "formulation": "A", "site": "NORTH", "estimate": 14.23, "lower": 12.1, "upper": 15.0,
    "status": "projected", "months": 36.0, "level": 0.9, "against": "C", "joint_lower": 11.0,
    "joint_upper": 16.0,
})  # fmt: skip


@pytest.mark.parametrize(
    ("name", "told", "within"),
    [
        ("solar_reflectance", "Solar reflectance, fraction", "solar reflectance, fraction"),
        ("gloss_60", "Gloss at 60 deg, gloss units", "gloss at 60 deg, gloss units"),
        ("lightness", "Lightness, L*", "lightness, L*"),
        ("wet_adhesion", "Wet adhesion (peel), N/m", "wet adhesion (peel), N/m"),
        ("surface_temperature", "Surface temperature in the sun, °C",
         "surface temperature in the sun, °C"),
    ],
)  # fmt: skip
def test_a_quantity_keeps_its_unit_and_its_capitals(name, told, within):
    prop = property_named(name)
    assert (quantity(prop), quantity_within(prop)) == (told, within)


def test_a_number_stands_with_its_unit_and_lightness_with_none():
    gloss, lightness = property_named("gloss_60"), property_named("lightness")
    assert "gloss at 60 deg 14.2 gloss units at 36" in wording.projection(VALUE, gloss, None)
    assert "lightness 14.23 at 36" in wording.projection(VALUE, lightness, None)
    assert claim_words.number(45.0, "surface_temperature") == "45.0 °C"
    assert claim_words.number(0.93, "elongation retention") == "0.93"


@pytest.mark.parametrize(
    ("name", "said"), [("gloss_60", "the highest is A"), ("elongation", "the most favourable is A")]
)
def test_nothing_is_called_better_of_a_property_without_a_better_side(name, said):
    prop = property_named(name)
    rows = pd.DataFrame([VALUE])
    assert said in trial_wording.comparison(rows, prop, ())
    neutral = prop.higher_is_better is None
    words = " ".join(trial_wording.columns(prop).values())
    assert ("better" in words) != neutral
    found = DoseResponse("silica_wt_pct", pd.DataFrame(), (6.0, 4.0, 8.0), {}, 0.7, ())
    told = trial_wording.dose(found, "loss", prop, 0.9)
    assert ("lessens it" if neutral else "is better") in told
