from __future__ import annotations

import numpy as np
import pytest

from aging.claims.criteria import COLUMNS, named, verdicts
from aging.errors import CallError
from aging.optics.criteria import load_criteria


def test_verdicts_follow_their_probability_and_routes_stand_apart(fitted):
    found = verdicts(fitted, "A8")
    assert tuple(found) == COLUMNS
    expected = np.where(found["probability"] >= 0.95, "met",
                        np.where(found["probability"] <= 0.05, "not met", "undecided"))  # fmt: skip
    assert (found["verdict"] == expected).all()
    current = found.query("programme == 'California Title 24 Part 6' and edition == '2022'")
    low = current[current["slope"] == "low"].set_index("route")
    assert set(low.index) == {"reflectance and emittance", "SRI"}
    assert low.loc["SRI", "thresholds"] == "sri 75 or more"
    assert len(set(verdicts(fitted, "A0")["verdict"])) > 1
    assert (found.loc[found["slope"] == "steep", "verdict"] == "met").all()
    assert (found["checked"] == "check before use").any()
    assert found["emittance"].str.contains("0.90 .* assumed").all()


def test_one_threshold_by_hand(fitted):
    table = load_criteria().head(1).assign(state="aged", threshold=0.70)
    (chance,) = verdicts(fitted, "A8", criteria=table)["probability"]
    drawn = [fitted.draws([36.0])[site, "A8"]["reading"][0] for site in ("COAST", "DESERT", "TOWN")]
    assert chance == pytest.approx((np.mean(drawn, axis=0) >= 0.70).mean())
    (new,) = verdicts(fitted, "A8", criteria=table.assign(state="initial"))["probability"]
    assert new == 1


def test_names_tell_routes_apart(fitted):
    found = verdicts(fitted, "A8")
    assert not found.apply(named, axis=1).duplicated().any()


def test_wrong_calls(fitted):
    with pytest.raises(CallError, match="formulation"):
        verdicts(fitted, "B1")
    with pytest.raises(CallError, match="solar_reflectance"):
        verdicts(fitted.told_as("sri"), "A8")
