"""What a fitted campaign says of its formulations, draw by draw: new, aged and washed.

Here, and nowhere else, draws are held within what the property can be (its low and high), so that
every interval, mean, ratio and loss made of them is possible as well.
"""

from __future__ import annotations

import numpy as np

from aging.decay.elimination import path_design
from aging.decay.posterior import SitePosterior
from aging.decay.site import Array
from aging.vocabulary import Property


def aged(posterior: SitePosterior, times: Array, prop: Property) -> dict[str, Array]:
    """Each target at times (M,), arrays (M, D, G)."""
    state, reading = posterior.at(times)
    return _possible({"state": state, "reading": reading}, prop)


def initial(posterior: SitePosterior, prop: Property) -> dict[str, Array]:
    """Each target when new, arrays (D, G): the formulation, and the mean of its own panels."""
    state = posterior.path[..., 0]
    return _possible({"state": state, "reading": state + posterior.panel[..., 0]}, prop)


def retained(posterior: SitePosterior, times: Array, prop: Property) -> dict[str, Array]:
    """Aged over initial of each target, arrays (M, D, G); less than a recording step is no base."""
    new = initial(posterior, prop)
    later = aged(posterior, times, prop)
    return {name: values / np.maximum(new[name], prop.step) for name, values in later.items()}


def lost(posterior: SitePosterior, times: Array, prop: Property) -> dict[str, Array]:
    """Parts of the loss of state, arrays (M, D, G).

    permanent is what a wash leaves, initial minus the washed state, which has r phi(t) given back
    and is free of the site's weather (elimination.py); removable is the rest of the total.
    """
    none, one = np.zeros(times.size), np.ones(times.size)
    design = path_design(posterior.grid, times, none, one, posterior.priors)[posterior.node]
    washed = np.einsum("dmq,dgq->mdg", design, posterior.path)
    new, state = initial(posterior, prop)["state"], aged(posterior, times, prop)["state"]
    washed = _possible({"state": washed}, prop)["state"]
    return {"total": new - state, "removable": washed - state, "permanent": new - washed}


def _possible(draws: dict[str, Array], prop: Property) -> dict[str, Array]:
    return {name: np.clip(values, prop.low, prop.high) for name, values in draws.items()}
