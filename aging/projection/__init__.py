"""What will the panels read? From a source to a fit, and from a fit to dated intervals."""

from aging.projection.fit import (
    ALL_SITES,
    COLUMNS,
    TARGETS,
    Fit,
    Projection,
    Series,
    group_by_formulation,
)
from aging.projection.fitting import fit, project
from aging.projection.gathering import Gathered, gather, posterior

__all__ = [
    "ALL_SITES", "COLUMNS", "TARGETS", "Fit", "Gathered", "Projection", "Series", "fit", "gather",
    "group_by_formulation", "posterior", "project",
]  # fmt: skip
