"""Which formulation is better, by how much, how sure."""

from aging.comparison.contrasts import Comparison, compare, contrast

__all__ = ["Comparison", "compare", "contrast"]
