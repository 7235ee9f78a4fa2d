"""The joint draws as NetCDF, for those who want statistics of their own."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import xarray as xr

from aging.comparison.joint import campaigns
from aging.errors import SourceError
from aging.projection import TARGETS, Fit


def joint_draws(fitted: Fit, months: Sequence[float], *, retention: bool = False) -> xr.Dataset:
    """Draws by target, month, site, formulation and draw; NaN where not exposed.

    One draw is one joint possibility of all formulations of a campaign; `campaign` tells which hang
    together. Sites are independent.
    """
    drawn, where = fitted.draws(list(months), retention=retention), campaigns(fitted)
    sites, mixes = sorted({site for site, _ in drawn}), sorted({mix for _, mix in drawn})
    count = next(iter(drawn.values()))["state"].shape[1]
    values = np.full((len(TARGETS), len(months), len(sites), len(mixes), count), np.nan)
    campaign = np.full((len(sites), len(mixes)), -1)
    for (site, mix), each in drawn.items():
        at = sites.index(site), mixes.index(mix)
        campaign[at] = where[site, mix]
        for place, target in enumerate(TARGETS):
            values[place, :, *at] = each[target]
    prop = fitted.measured
    return xr.Dataset(
        {
            prop.name + "_retention" * retention: (
                ("target", "months", "site", "formulation", "draw"), values,
                {"units": "1" if retention else prop.unit,
                 "long_name": prop.label + " retention" * retention},
            ),
            "campaign": (("site", "formulation"), campaign),
        },
        coords={"target": list(TARGETS), "months": list(months), "site": sites,
                "formulation": mixes, "draw": np.arange(count)},
        attrs={"title": "Joint draws of projections", "caution": "A projection is not a rating."},
    )  # fmt: skip


def export_draws(fitted: Fit, months: Sequence[float], path: str | Path) -> None:
    """Write the joint draws as NetCDF-4; SourceError where the file cannot be written."""
    try:
        joint_draws(fitted, months).to_netcdf(path, engine="h5netcdf")
    except OSError as error:
        raise SourceError(f"{path}: cannot be written ({error.strerror or error})") from error
