"""The offset of instruments, from twins that are read again and again and do not age.

Reading of file specimen i at check k (one instrument on one day):

    y_ik = b_i + o_k + e_ik     b_i free, e ~ N(0, noise^2), o ~ N(0, K)
    K_kl = walk^2 min(t_k, t_l) + step^2 min(n_k, n_l)    same instrument, else 0

t is the time since the instrument's first check and n how often it may have jumped by then
(calibration, repair; a newcomer jumps once as it begins). With b integrated out, D_i the checks at
which specimen i was read and 1_i their indicator, the posterior is exact:

    M = sum_i (D_i - 1_i 1_i' / n_i) / noise^2
    cov = (I + K M)^-1 K     mean = cov sum_i r_i / noise^2

with r_i the readings less their mean. The noise is that of the readings about it, shrunk to the
prior with the weight of PRIOR_READINGS readings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aging.decay.site import Array, Index

PRIOR_READINGS, ROUNDS = 10.0, 3


@dataclass(frozen=True)
class Offsets:
    """Posterior mean (K,) and covariance (K, K) at each check, noise of one reading."""

    mean: Array
    cov: Array
    noise: float


def walk_cov(instrument: Index, time: Array, jumps: Array, walk: float, step: float) -> Array:
    """Prior covariance (K, K) of offsets at checks; walk per square root of time."""
    same = instrument[:, None] == instrument
    shared = walk**2 * np.minimum.outer(time, time) + step**2 * np.minimum.outer(jumps, jumps)
    return np.where(same, shared, 0.0)


def offsets(values: Array, prior: Array, noise: float) -> Offsets:
    """Offsets from readings of file specimens (I, K), NaN where not read; prior (K, K)."""
    values = values[~np.isnan(values).all(axis=1)]
    read = ~np.isnan(values)
    count = read.sum(axis=1, keepdims=True)

    def about_mean(table: Array) -> Array:
        table = np.where(read, table, 0.0)
        return np.where(read, table - table.sum(axis=1, keepdims=True) / count, 0.0)

    apart = about_mean(values)
    weight = np.diag(read.sum(axis=0)) - (read / count).T @ read

    def given(variance: float) -> tuple[Array, Array]:
        cov = np.linalg.solve(np.eye(len(prior)) + prior @ weight / variance, prior)
        return cov @ apart.sum(axis=0) / variance, (cov + cov.T) / 2

    variance, freedom = noise**2, np.count_nonzero(read) - len(read)
    for _ in range(ROUNDS):
        mean, cov = given(variance)
        rest = ((apart - about_mean(np.broadcast_to(mean, read.shape))) ** 2).sum()
        spent = float(np.trace(weight @ cov)) / variance  # on offsets that the readings determine
        variance = (rest + PRIOR_READINGS * noise**2) / (freedom - spent + PRIOR_READINGS)
    return Offsets(*given(variance), float(variance**0.5))
