"""The shipped sample: a running trial and an earlier, closed one at the same three sites.

Running: silica 0, 4, 8, 10 % by weight x hollow spheres 0, 15, 30 % by volume, read for about 20
months. Closed: four formulations over 36 months. The truth of both, up to 36 months, is kept in
`truth/`; nothing but tests reads it.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd

from aging.records import Exposure
from aging.simulation.appearance import SIMULATED
from aging.simulation.campaign import simulate
from aging.simulation.faulty import write_faulty
from aging.simulation.instrument_log import checks_of, instruments_of
from aging.simulation.mechanism import traits
from aging.simulation.merge import merge
from aging.simulation.scenario import Design, Scatter, blend
from aging.simulation.sheets import OPERATORS, as_sheet
from aging.simulation.spectra import spectra_of
from aging.simulation.write import write_csv, write_folder

RUNNING = Design(
    formulations=tuple(
        blend(silica, spheres) for silica, spheres in product((0, 4, 8, 10), (0, 15, 30))
    ),
    exposed_on=date(2025, 2, 10),
    stagger_days=14,
    visits=(0, 0.5, 1, 2, 3, 5, 6.5, 9, 11, 12.5, 14, 16, 18, 19.5),
    washed=(6.5, 12.5, 18),
    properties=tuple(SIMULATED),
    sparse=3,
    rack="2025",
    scatter=Scatter(batch_stickiness=0.04, interaction=0.04),
)
CLOSED = Design(
    formulations=tuple(blend(silica, spheres, "P") for silica, spheres in product((0, 8), (0, 30))),
    exposed_on=date(2021, 4, 6),
    visits=(0, 1, 2, 3, 4.5, 6, 8, 10, 12, 15, 18, 21, 24, 28, 32, 36),
    washed=(12, 24, 36),
    properties=tuple(SIMULATED),
    sparse=4,
    rack="2021",
    closed=True,
)
SEEDS = {"running": 20250214, "closed": 20210412}
SHELF_SEED = (20250214, 1)
PLAN_DAYS = {0: 7, 1: 21, 2: 14, 3: 14, 4.5: 24, 6: 24, 9: 40, 12: 40, 15: 40, 18: 24, 19.5: 24,
             21: 24, 24: 24, 28: 28, 32: 28, 36: 30}  # fmt: skip
SPECTRA_OF = ("PS0H0", "PS8H30", "S0H0", "S8H30")
SPECTRA_AT, SPECTRA_MONTHS = ("AMARO", "KESTREL"), (0, 12, 36)
LOST, LOST_ON = "KESTREL-S4H15-2", "2026-03-18"

ABOUT = """\
Everything in this folder is invented: the sites Amaro Lagoon, Drywell Flats and Kestrel Yard, the
formulations, the panels, the people behind op1 to op3, the instruments and every reading. No real
place, firm, product or measurement stands behind any of it, and no figure here says anything
about a real coating.

It was written by `python -m aging.simulation sample_exposure`: a seeded simulation of loose dirt
that rain washes off, dirt that binds, growth in warm damp weather, slow weathering, and the
errors of panels, visits, instruments and spots. Running it again gives the same bytes.

What is in it
  panels.csv, readings.csv, ...  a running trial from February and March 2025, last read in October
                                 2026: silica 0, 4, 8, 10 % by weight x hollow spheres 0, 15, 30 %
                                 by volume (S8H30 = 8 % and 30 %; S0H0 is the control), at each
                                 site 3 panels and 1 unexposed file specimen of each. One panel was
                                 lost in a storm. On some visits one half of each panel was washed.
                                 And an earlier trial of 36 months, April 2021 to spring 2024,
                                 closed: PS0H0 (its control), PS0H30, PS8H0, PS8H30.
  spectra.csv                    reflectance spectra of one panel each of PS0H0, PS8H30, S0H0 and
                                 S8H30 at two sites: new, after 12 and 36 months, also washed
  instruments.csv                what reads, with serial, calibration and tile
  instrument_checks.csv          tiles read before, during and after each visit: they show the
                                 drift of that day
  operators.csv, plan.csv        who reads, and at which months of exposure
  weather/                       daily weather of each site during both trials
  truth/                         what the simulation knows and no reader of panels can: the true
                                 state and would-be readings up to 36 months, and the traits that
                                 composition gives. For tests only.
  faulty/                        a small folder with typical faults, listed in its ABOUT.txt

Assumed in the scenario: silica makes the surface less sticky, most at 9 % and more so with
spheres (an interaction), and leaves the initial reflectance alone; spheres raise the initial
reflectance and make the surface a little stickier.
"""


def write_sample(folder: Path) -> None:
    """Write the sample, its truth and the folder of faults into `folder`."""
    running, closed = simulate(RUNNING, SEEDS["running"]), simulate(CLOSED, SEEDS["closed"])
    every = merge([closed.exposure, _lost(running.exposure)])
    measured = [f"{site}-{coat}-1" for site, coat in product(SPECTRA_AT, SPECTRA_OF)]
    every = replace(every, spectra=spectra_of(every, measured, SPECTRA_MONTHS))
    drift = pd.concat([closed.drift, running.drift], ignore_index=True)
    write_folder(_shelf(every, drift), folder)
    (folder / "ABOUT.txt").write_text(ABOUT, encoding="utf-8")

    (folder / "truth").mkdir(exist_ok=True)
    truth = pd.concat([closed.truth, running.truth], ignore_index=True)
    truth = truth[truth["months"].isin(RUNNING.marks)].drop(columns="visited").round(5)
    write_csv(truth, folder / "truth/truth.csv")
    blends = pd.DataFrame([vars(item) for item in RUNNING.formulations + CLOSED.formulations])
    initial, stickiness = traits(blends["silica_wt_pct"], blends["hollow_sphere_vol_pct"])
    known = blends.assign(initial_reflectance=initial, stickiness=stickiness).round(5)
    write_csv(known, folder / "truth/traits.csv")

    write_faulty(folder / "faulty")


def _shelf(exposure: Exposure, drift: pd.DataFrame) -> Exposure:
    """The exposure with its instruments and their checks, its people and its plan."""
    rng = np.random.default_rng(SHELF_SEED)
    instruments = instruments_of(exposure, rng)
    names = [f"Operator {number} (invented)" for number in range(1, len(OPERATORS) + 1)]
    plan = {"months": list(PLAN_DAYS), "window_days": list(PLAN_DAYS.values())}
    return replace(
        exposure,
        instruments=instruments,
        instrument_checks=checks_of(exposure, instruments, drift, rng),
        operators=as_sheet("operators", {"operator": OPERATORS, "name": names}),
        plan=as_sheet("plan", plan),
    )


def _lost(exposure: Exposure) -> Exposure:
    """The exposure after a storm took one panel from its rack."""
    panels, readings = exposure.panels.copy(), exposure.readings
    panels.loc[panels["panel"] == LOST, "closed_on"] = LOST_ON
    late = (readings["panel"] == LOST) & (readings["read_on"] > LOST_ON)
    site = panels.loc[panels["panel"] == LOST, "site"].tolist()
    remark = ["torn off in a storm"]
    event = {"on": [LOST_ON], "kind": ["loss"], "site": site, "panel": [LOST], "remark": remark}
    events = pd.concat([exposure.events, as_sheet("events", event)])
    return replace(
        exposure,
        panels=panels,
        readings=readings[~late],
        events=events.sort_values(["on", "site", "kind"], ignore_index=True),
    )
