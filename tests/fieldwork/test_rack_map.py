"""Rack maps: every panel once, rows as blocks, neighbours parted, the same from the same seed."""

from __future__ import annotations

import pandas as pd
import pytest

from aging.errors import CallError
from aging.fieldwork.rack_map import draw_rack, new_panels, positioned, rack_map

PANELS = new_panels("HILL", ["A", "B", "C", "<D>"], 9, "2026-04-01")


@pytest.fixture(scope="module")
def hung():
    return rack_map(PANELS, 4, 10, seed=7, rack="R1")


def test_every_panel_hangs_once_and_the_rest_is_spare(hung):
    assert sorted(hung["panel"].dropna()) == sorted(PANELS["panel"])
    assert hung["spare"].sum() == 4
    assert hung["position"].is_unique
    owner = PANELS.set_index("panel")["formulation"]
    there = hung.dropna(subset="panel")
    assert there["panel"].map(owner).tolist() == there["formulation"].tolist()


@pytest.mark.parametrize("seed", range(5))
def test_rows_hold_equal_shares_and_no_formulation_touches_itself(seed):
    hung = rack_map(PANELS, 4, 10, seed=seed)
    grid = hung.set_index(["row", "column"])["formulation"].unstack()  # noqa: PD010 - text
    counts = grid.apply(lambda row: row.value_counts(), axis="columns")
    assert counts.min().min() == 2
    assert counts.max().max() == 3
    assert not (grid == grid.shift(axis="columns")).any().any()
    assert not (grid == grid.shift()).any().any()


def test_positions_are_drawn_by_lot():
    again = rack_map(PANELS, 4, 10, seed=7, rack="R1")
    pd.testing.assert_frame_equal(again, rack_map(PANELS, 4, 10, seed=7, rack="R1"))
    first = [rack_map(PANELS, 4, 10, seed=seed)["panel"].iloc[0] for seed in range(12)]
    assert len(set(first)) > 6


def test_one_formulation_cannot_be_parted_and_still_hangs():
    hung = rack_map(new_panels("HILL", ["A"], 6), 2, 3, seed=1)
    assert hung["panel"].nunique() == 6


def test_positions_go_back_into_the_sheet(hung):
    rows = positioned(PANELS, hung)
    assert list(rows) == ["panel", "formulation", "site", "exposed_on", "replicate", "rack",
                          "position"]  # fmt: skip
    assert (
        rows.set_index("panel").loc["HILL-A-1", "position"]
        == (hung.set_index("panel").loc["HILL-A-1", "position"])
    )
    assert rows[["rack", "position"]].notna().all().all()


@pytest.mark.parametrize("ending", ["pdf", "svg", "html"])
def test_the_map_is_drawn(hung, tmp_path, ending):
    out = tmp_path / f"rack.{ending}"
    draw_rack(hung, "Rack <R1>", "seed 7", out)
    head = out.read_bytes()[:15]
    assert head.startswith({"pdf": b"%PDF", "svg": b"<svg", "html": b"<!doctype html>"}[ending])
    if ending == "html":
        page = out.read_text(encoding="utf-8")
        assert "<title>Rack &lt;R1&gt;</title>" in page
        assert "HILL-&lt;D&gt;-1" in page
        assert "spare" in page


@pytest.mark.parametrize(("rows", "columns"), [(1, 2), (0, 9)])
def test_too_small_a_rack_is_refused(rows, columns):
    with pytest.raises(CallError, match=r"panels|rows"):
        rack_map(PANELS, rows, columns, seed=0)


def test_a_panel_named_twice_and_an_unknown_ending_are_refused(hung, tmp_path):
    with pytest.raises(CallError, match="each panel once"):
        rack_map(pd.concat([PANELS, PANELS[:1]]), 5, 10, seed=0)
    with pytest.raises(CallError, match="svg"):
        draw_rack(hung, "R", "", tmp_path / "rack.bmp")
