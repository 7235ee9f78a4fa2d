"""Which formulation is better, by how much, how sure, why, at what cost, and when to stop."""

from aging.comparison.differences import Comparison, compare, differences
from aging.comparison.export import export_draws
from aging.comparison.origins import origins
from aging.comparison.ranks import ranks

__all__ = ["Comparison", "compare", "differences", "export_draws", "origins", "ranks"]
