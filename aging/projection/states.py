"""What a fitted campaign says of its formulations, draw by draw: new, aged and washed.

`shown` turns draws (..., D, G) of the formulations into values of what is told (`Fit.shown`): held
within what the property can be, so that every interval, mean, ratio and loss made of them is
possible as well, or what is derived from them.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from aging.decay.elimination import path_design
from aging.decay.posterior import SitePosterior
from aging.decay.site import Array
from aging.vocabulary import Property

Shown = Callable[[Array], Array]


def held(draws: Array, prop: Property) -> Array:
    """Draws within the low and high of a property."""
    return np.clip(draws, prop.low, prop.high)


def tails(level: float, half: float = 1.0, *, turned: bool = False) -> list[float]:
    """Shares of the draws below the lower end, the middle and the upper end of an interval.

    half: the upper end stands at that many times its usual normal score, so that the same share of
    any quantity that rises with the draws lies below it. turned: the lower end does, where what is
    told falls as what was fitted rises.
    """
    from scipy.special import ndtr, ndtri

    tail = (1 - level) / 2
    drawn_in = tail if half == 1 else float(ndtr(half * ndtri(tail)))
    return [drawn_in, 0.5, 1 - tail] if turned else [tail, 0.5, 1 - drawn_in]


def aged(posterior: SitePosterior, times: Array, shown: Shown) -> dict[str, Array]:
    """Each target at times (M,), arrays (M, D, G)."""
    state, reading = posterior.at(times)
    return {"state": shown(state), "reading": shown(reading)}


def initial(posterior: SitePosterior, shown: Shown) -> dict[str, Array]:
    """Each target when new, arrays (D, G): the formulation, and the mean of its own panels."""
    state = posterior.path[..., 0]
    return {"state": shown(state), "reading": shown(state + posterior.panel[..., 0])}


def retained(
    posterior: SitePosterior, times: Array, shown: Shown, *, least: float
) -> dict[str, Array]:
    """Aged over initial of each target, arrays (M, D, G); less than `least` is no base."""
    new = initial(posterior, shown)
    later = aged(posterior, times, shown)
    return {name: values / np.maximum(new[name], least) for name, values in later.items()}


def lost(posterior: SitePosterior, times: Array, shown: Shown) -> dict[str, Array]:
    """Parts of the loss of state, arrays (M, D, G).

    permanent is what a wash leaves, initial minus the washed state, which has r phi(t) given back
    and is free of the site's weather (elimination.py); removable is the rest of the total.
    """
    none, one = np.zeros(times.size), np.ones(times.size)
    design = path_design(posterior.grid, times, none, one, posterior.priors)[posterior.node]
    washed = shown(np.einsum("dmq,dgq->mdg", design, posterior.path))
    new, state = initial(posterior, shown)["state"], aged(posterior, times, shown)["state"]
    return {"total": new - state, "removable": washed - state, "permanent": new - washed}
