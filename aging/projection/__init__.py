"""What will the panels read? From a source to a fit, and from a fit to dated intervals."""

from aging.projection.fit import (
    ALL_SITES,
    COLUMNS,
    LOSS_COLUMNS,
    TARGETS,
    Fit,
    Projection,
    Series,
    asked,
    group_by_formulation,
)
from aging.projection.fitting import fit, fit_gathered, project
from aging.projection.gathering import (
    Each,
    Gathered,
    fitted_property,
    gather,
    gathered,
    posterior,
    priors_by_zone,
    priors_known,
)
from aging.projection.movement import MOVEMENT_COLUMNS, movement
from aging.projection.remedies import REMEDY_COLUMNS, remedies
from aging.projection.width import SHARE_COLUMNS, SOURCES, parts_of, shares

__all__ = [
    "ALL_SITES", "COLUMNS", "LOSS_COLUMNS", "MOVEMENT_COLUMNS", "REMEDY_COLUMNS", "SHARE_COLUMNS",
    "SOURCES", "TARGETS", "Each", "Fit", "Gathered", "Projection", "Series", "asked", "fit",
    "fit_gathered", "fitted_property", "gather", "gathered", "group_by_formulation", "movement",
    "parts_of", "posterior", "priors_by_zone", "priors_known", "project", "remedies", "shares",
]  # fmt: skip
