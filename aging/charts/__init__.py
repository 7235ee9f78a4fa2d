"""Charts from tidy frames: Altair in, Altair out, no screen and no model.

Bands are drawn from the frame's own `lower` and `upper`; a chart computes no statistics. Every
chart takes its one-sentence `description`, which becomes its alternative text.
"""

from __future__ import annotations

from aging.charts.colour_tracks import colour_track_chart, swatch_chart
from aging.charts.composition import dose_chart, interaction_chart
from aging.charts.control_chart import control_chart
from aging.charts.courses import courses_chart
from aging.charts.decay import decay_chart
from aging.charts.difference import difference_chart, origins_chart
from aging.charts.movement import movement_chart
from aging.charts.panel_story import panel_story_chart
from aging.charts.rank_table import rank_chart
from aging.charts.rating_strips import rating_strip_chart
from aging.charts.score_board import coverage_chart, error_chart
from aging.charts.site_paths import site_paths_chart
from aging.charts.spectra import band_loss_chart, spectra_chart
from aging.charts.style import PAGE, PALETTE, quantity, quantity_within, unit_after
from aging.charts.visit_strip import visit_strip_chart
from aging.charts.visits import visits_chart
from aging.charts.width import width_chart

__all__ = [
    "PAGE",
    "PALETTE",
    "band_loss_chart",
    "colour_track_chart",
    "control_chart",
    "courses_chart",
    "coverage_chart",
    "decay_chart",
    "difference_chart",
    "dose_chart",
    "error_chart",
    "interaction_chart",
    "movement_chart",
    "origins_chart",
    "panel_story_chart",
    "quantity",
    "quantity_within",
    "rank_chart",
    "rating_strip_chart",
    "site_paths_chart",
    "spectra_chart",
    "swatch_chart",
    "unit_after",
    "visit_strip_chart",
    "visits_chart",
    "width_chart",
]
