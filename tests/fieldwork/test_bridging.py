"""Bias and precision: the standard's own example, a known bias found, and nothing done silently."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from aging import intake
from aging.errors import CallError, ModelError
from aging.fieldwork.bridging import bias, corrections, met, precision
from aging.ledger import open_ledger

# ISO 5725-2:1994, Annex B.1: sulfur in coal, mass fraction in %, 8 laboratories. From memory.
COAL = {
    1: ["0.71 0.71 0.70 0.71", "0.69 0.67 0.68", "0.66 0.65 0.69", "0.67 0.65 0.66",
        "0.70 0.69 0.66 0.71 0.69", "0.73 0.74 0.73", "0.71 0.71 0.69", "0.70 0.65 0.68"],
    2: ["1.20 1.18 1.23 1.21", "1.22 1.21 1.22", "1.28 1.31 1.30", "1.23 1.18 1.20",
        "1.31 1.22 1.22 1.24", "1.39 1.36 1.37", "1.20 1.26 1.26", "1.24 1.22 1.30"],
    3: ["1.68 1.70 1.68 1.69", "1.64 1.64 1.65", "1.61 1.61 1.62", "1.68 1.66 1.66",
        "1.64 1.67 1.60 1.66 1.68", "1.70 1.73 1.73", "1.69 1.70 1.68", "1.67 1.68 1.67"],
    4: ["3.26 3.26 3.20 3.24", "3.20 3.20 3.20", "3.37 3.36 3.38", "3.16 3.22 3.23",
        "3.20 3.19 3.18 3.27 3.24", "3.27 3.31 3.29", "3.27 3.24 3.23", "3.25 3.26 3.26"],
}  # fmt: skip
PRINTED = {1: (0.690, 0.015, 0.026), 2: (1.252, 0.029, 0.061),
           3: (1.667, 0.017, 0.035), 4: (3.250, 0.026, 0.058)}  # fmt: skip
TRUE_BIAS = 0.012


def coal():
    rows = [(level, lab, float(value)) for level, labs in COAL.items()
            for lab, values in enumerate(labs) for value in values.split()]  # fmt: skip
    return pd.DataFrame(rows, columns=["panel", "party", "value"])


@pytest.fixture(scope="module")
def bridged(tmp_path_factory):
    """Eight panels read by two instruments a day apart, SR-2 0.012 above; two laboratories."""
    folder, noise = tmp_path_factory.mktemp("bridge"), np.random.default_rng(11)
    panels = ["panel,formulation,site,exposed_on"]
    rows = ["panel,read_on,property,value,instrument,operator"]
    for k in range(8):
        panels.append(f"B{k},F,HILL,2025-03-05")
        for name, day, off in (("SR-1", 10, 0.0), ("SR-1", 11, 0.0), ("SR-2", 11, TRUE_BIAS)):
            value = 0.3 + 0.07 * k + off + noise.normal(0, 0.002)
            rows.append(f"B{k},2025-06-{day},solar_reflectance,{value:.4f},{name},anna")
    rows.append("B0,2025-09-01,solar_reflectance,0.29,SR-2,anna")
    (folder / "panels.csv").write_text("\n".join(panels))
    (folder / "readings.csv").write_text("\n".join(rows))
    (folder / "instruments.csv").write_text("instrument,laboratory\nSR-1,north\nSR-2,south\n")
    return intake.read(folder).exposure


def test_the_standard_s_example_comes_out_as_printed():
    found = precision(coal()).set_index("panel")
    for level, (mean, sr, s_r) in PRINTED.items():
        row = found.loc[level]
        assert (round(row["mean"], 3), round(row["sr"], 3)) == (mean, sr)
        assert round(row["sR"], 3) == s_r
        assert row["sR"] ** 2 == pytest.approx(row["sr"] ** 2 + row["sL"] ** 2)


def test_parties_that_agree_leave_nothing_between_them():
    same = pd.DataFrame({"panel": "P", "party": list("aabb"), "value": [0.4, 0.6, 0.4, 0.6]})
    row = precision(same).iloc[0]
    assert (row["sL"], row["sR"]) == (0, pytest.approx(np.sqrt(0.02)))
    once = precision(same.iloc[[0, 2]]).iloc[0]
    assert np.isnan(once["sr"])
    assert np.isnan(once["sR"])


def test_a_known_bias_is_found_by_instrument_and_by_laboratory(bridged):
    found = bias(bridged, "SR-1", "SR-2")
    assert found.panels == 8
    assert found.lower < TRUE_BIAS < found.upper
    assert found.upper - found.lower < 0.01
    turned = bias(bridged, "south", "north", by="laboratory")
    assert turned.bias == pytest.approx(-found.bias)


def test_the_interval_is_student_s(bridged):
    rows = bridged.readings[bridged.readings["read_on"] == "2025-06-11"]
    wide = rows.pivot_table(index="panel", columns="instrument", values="value")
    each = wide["SR-2"] - wide["SR-1"]
    found = bias(bridged, "SR-1", "SR-2", within_days=0)
    assert found.bias == pytest.approx(each.mean())
    assert found.upper - found.bias == pytest.approx(2.3646 * each.std() / np.sqrt(8), rel=1e-4)


def test_only_readings_close_in_time_meet(bridged):
    assert "2025-09-01" not in met(bridged, "solar_reflectance")["at"].astype(str).to_list()
    assert len(met(bridged, "solar_reflectance")) == 24
    assert len(met(bridged, "solar_reflectance", within_days=0)) == 16
    with pytest.raises(CallError, match="allowed: SR-1, SR-2"):
        bias(bridged, "SR-1", "SR-9")
    few = replace(bridged, readings=bridged.readings[bridged.readings["panel"].isin(["B0", "B1"])])
    with pytest.raises(ModelError, match="2 panels in common"):
        bias(few, "SR-1", "SR-2")


def test_a_correction_is_asked_for_says_why_and_leaves_the_old_reading(bridged, tmp_path):
    found = bias(bridged, "SR-1", "SR-2")
    with pytest.raises(CallError, match="reason"):
        corrections(bridged, found, " ")
    new = corrections(bridged, found, "bridging set of June", until="2025-06-30").readings
    assert set(new["instrument"]) == {"SR-2"}
    assert len(new) == 8
    with open_ledger(tmp_path / "s.sqlite", create=True) as book:
        book.append(bridged, by="desk", source="test")
        before = book.read().readings.set_index("reading_id")
        told = book.append(
            corrections(book.read(), found, "bridging set of June"), by="anna", source="bridging"
        )
        assert sum(one.stored for one in told) == 9
        after = book.read()
        assert len(after.readings) == len(bridged.readings)
        assert len(book.history()) == len(bridged.readings) + 9
        changed = after.readings.dropna(subset="supersedes").set_index("supersedes")
        off = before.loc[changed.index, "value"] - changed["value"]
        assert off.to_numpy() == pytest.approx(found.bias, abs=1e-5)
        assert changed["reason"].str.contains("SR-2 reads .* against SR-1 .*June").all()
        assert abs(bias(after, "SR-1", "SR-2").bias) < 1e-4
        assert corrections(after, found, "again").readings.empty
