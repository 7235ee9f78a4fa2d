from __future__ import annotations

import numpy as np
import pytest

from aging.errors import CallError
from aging.fieldwork.doubts import doubts
from aging.fieldwork.spots import APART_M, ENOUGH_SEM, FEWEST, MARGIN_M, Spots, random_spots, typed


@pytest.mark.parametrize(
    ("text", "values"),
    [("0.71 0,72 .73", (0.71, 0.72, 0.73)), ("0,71;0,72\n0,73", (0.71, 0.72, 0.73)),
     ("0.71, 0.72, 0.73", (0.71, 0.72, 0.73)), ("  78 ", (78,)), ("", ()), ("-1,5 +2.", (-1.5, 2))],
)  # fmt: skip
def test_numbers_are_read_as_people_type_them(text, values):
    assert typed(text) == values


@pytest.mark.parametrize("text", ["0.71 O.72", "0,71,0,72", "1,234.5", "nan", "1e3", "0.7-"])
def test_what_is_no_number_is_named(text):
    with pytest.raises(CallError) as told:
        typed(text)
    assert text.split()[-1] in str(told.value)
    assert "0.71 " not in str(told.value)


def test_mean_and_spread_are_those_of_the_textbook():
    spots = Spots((0.70, 0.72))
    assert (spots.mean, round(spots.range, 12)) == (0.71, 0.02)
    assert spots.sd == pytest.approx(0.02 / np.sqrt(2), rel=1e-5)
    assert spots.sem == pytest.approx(0.01, rel=1e-5)
    assert (Spots((0.7,)).sd, Spots((0.7,)).sem) == (None, None)


def test_a_patch_asks_for_spots_until_its_mean_is_known():
    spread = 0.02 * np.array([-1, 1, -1, 1, -1, 1, -1, 1])
    for count in range(1, 9):
        spots = Spots(tuple(0.7 + spread[:count]))
        known = count >= FEWEST and spots.sem <= ENOUGH_SEM
        assert (spots.still_to_read == 0) == known
    assert Spots(tuple(0.7 + spread)).still_to_read == 19 - 8  # (0.0214 / 0.005)^2 = 18.3
    assert Spots((0.7,) * 4).still_to_read == 1
    assert Spots((0.7,) * 5).still_to_read == 0


def test_stopping_by_the_rule_leaves_the_mean_about_as_sure_as_told():
    rng, off = np.random.default_rng(5), []
    for _ in range(300):
        values = rng.normal(0.7, 0.02, 200)
        count = next(n for n in range(1, 200) if not Spots(tuple(values[:n])).still_to_read)
        off.append(values[:count].mean() - 0.7)
    assert ENOUGH_SEM * 0.9 < np.std(off) < ENOUGH_SEM * 1.4


def test_spots_lie_apart_inside_and_stay_where_they_were():
    spots = random_spots(30, 2.0, 3.0, seed="ROOF-1/2026-04-03")
    assert ((spots >= MARGIN_M) & (spots <= np.array([2.0, 3.0]) - MARGIN_M)).all()
    gaps = np.hypot(*(spots[:, None] - spots[None]).transpose(2, 0, 1))
    assert gaps[~np.eye(30, dtype=bool)].min() >= APART_M
    assert (random_spots(5, 2.0, 3.0, seed="ROOF-1/2026-04-03") == spots[:5]).all()
    assert (random_spots(5, 2.0, 3.0, seed="ROOF-2/2026-04-03") != spots[:5]).any()


def test_spots_reach_all_of_the_patch_alike():
    many = np.vstack([random_spots(4, 1.3, 2.3, seed=str(n)) for n in range(150)])
    share = (many - MARGIN_M) / (1.0, 2.0)
    assert np.histogram2d(*share.T, bins=2)[0].min() > 120  # of 150 expected in each quarter


@pytest.mark.parametrize("size", [(0.3, 2.0), (2.0, -1.0), (float("nan"), 1.0)])
def test_a_patch_without_room_is_told(size):
    with pytest.raises(CallError, match="sides above"):
        random_spots(1, *size, seed="x")
    with pytest.raises(CallError, match="find no room"):
        random_spots(50, 0.5, 0.5, seed="x")


@pytest.mark.parametrize(
    ("text", "asked"),
    [("0.71 0.70 0,72", []), ("0.55", ["fell-fast"]), ("0.76", ["rose"]), ("0.80", ["like-washed"]),
     ("0.90", ["above-new"]), ("0.25", ["unusual", "fell-fast"]), ("0.74 0.71 0.67", ["spots"])],
)  # fmt: skip
def test_the_page_asks_what_the_sheet_asks(sheet, text, asked):
    name = sheet.properties[0]
    panel = next(one for one in sheet.panels if one.panel == "P1")
    spots = Spots(typed(text))
    found = doubts(name, panel, spots, surface_state="as_exposed", surface_wetness="dry")
    assert [one.rule for one in found] == asked
    washed = doubts(name, panel, spots, surface_state="washed", surface_wetness="damp")
    assert {one.rule for one in washed} <= {"wet-surface", "unusual", "spots"}
    assert washed[0].rule == "wet-surface"


def test_a_file_specimen_should_not_move(sheet):
    specimen = next(one for one in sheet.panels if one.kind == "file_specimen")
    (found,) = doubts(
        sheet.properties[0], specimen, Spots((0.70,)), surface_state="as_exposed",
        surface_wetness="dry",
    )  # fmt: skip
    assert found.rule == "file-specimens"
