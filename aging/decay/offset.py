"""The offset of instruments, from twins that are read again and again and do not age.

Reading of file specimen i at check k (one instrument on one day):

    y_ik = b_i + o_k + e_ik     b_i free, e ~ N(0, noise^2), o ~ N(0, size^2 K)
    K_kl = walk^2 min(t_k, t_l) + step^2 min(n_k, n_l)    same instrument, else 0

t is the time since the instrument's first check and n how often it may have jumped by then
(calibration, repair; a newcomer jumps once as it begins). With b integrated out, D_i the checks at
which specimen i was read, 1_i their indicator and r_i the readings less their mean, the posterior
is exact given size:

    M = sum_i (D_i - 1_i 1_i' / n_i) / noise^2
    cov = (I + size^2 K M)^-1 size^2 K     mean = cov sum_i r_i / noise^2

log(size) ~ N(0, spread^2) is integrated over a grid. The noise is that of the readings about the
offsets, shrunk to the prior with the weight of PRIOR_READINGS readings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aging.decay.site import Array, Index

PRIOR_READINGS, ROUNDS = 10.0, 3
SIZES = np.linspace(-2.4, 2.4, 9)  # in standard deviations of the prior's log


@dataclass(frozen=True)
class Offsets:
    """Posterior mean (K,) and covariance (K, K) at each check, noise of one reading."""

    mean: Array
    cov: Array
    noise: float


@dataclass(frozen=True)
class Twins:
    """What file specimens read, (I, K), less their own means; 0 where not read."""

    read: Array
    apart: Array

    @classmethod
    def of(cls, values: Array) -> Twins:
        """From readings (I, K), NaN where not read."""
        read = (~np.isnan(values)).astype(np.float64)
        level = np.nansum(values, axis=1, keepdims=True) / np.maximum(read.sum(1, keepdims=True), 1)
        return cls(read, np.where(read == 1, values - level, 0.0))

    @property
    def weight(self) -> Array:
        """M times the noise squared, (K, K)."""
        count = np.maximum(self.read.sum(axis=1, keepdims=True), 1)
        return np.diag(self.read.sum(axis=0)) - (self.read / count).T @ self.read

    def given(self, prior: Array, variance: float) -> tuple[float, Array, Array]:
        """Log evidence, mean and covariance of the offsets for one prior and noise."""
        system = np.eye(len(prior)) + prior @ self.weight / variance
        cov = np.linalg.solve(system, prior)
        pull = self.apart.sum(axis=0) / variance
        mean = cov @ pull
        return float(pull @ mean - np.linalg.slogdet(system)[1]) / 2, mean, (cov + cov.T) / 2

    def integrated(self, prior: Array, variance: float, spread: float) -> tuple[Array, Array]:
        """Mean and covariance over the sizes of the prior."""
        each = [self.given(np.exp(2 * spread * at) * prior, variance) for at in SIZES]
        log_weight = np.array([evidence for evidence, _, _ in each]) - SIZES**2 / 2
        share = np.exp(log_weight - log_weight.max())
        share /= share.sum()
        means = np.array([mean for _, mean, _ in each])
        covs = np.array([cov for _, _, cov in each])
        off = means - share @ means
        return share @ means, np.einsum("s,sij->ij", share, covs) + (off.T * share) @ off

    def about(self, offset: Array) -> float:
        """Sum of squares of the readings about offsets (K,)."""
        expected = Twins.of(np.where(self.read == 1, offset, np.nan)).apart
        return float(((self.apart - expected) ** 2).sum())


def walk_cov(instrument: Index, time: Array, jumps: Array, walk: float, step: float) -> Array:
    """Prior covariance (K, K) of offsets at checks; walk per square root of time."""
    same = instrument[:, None] == instrument
    shared = walk**2 * np.minimum.outer(time, time) + step**2 * np.minimum.outer(jumps, jumps)
    return np.where(same, shared, 0.0)


def offsets(values: Array, prior: Array, noise: float, spread: float) -> Offsets:
    """Offsets from readings of file specimens (I, K), NaN where not read.

    prior : (K, K) where size is 1;  noise : prior of one reading's;  spread : of the log of size
    """
    twins, variance = Twins.of(values), noise**2
    freedom = twins.read.sum() - (twins.read.sum(axis=1) > 0).sum()
    for _ in range(ROUNDS):
        mean, cov = twins.integrated(prior, variance, spread)
        spent = np.trace(twins.weight @ cov) / variance  # on offsets that the readings determine
        rest = twins.about(mean) + PRIOR_READINGS * noise**2
        variance = float(rest / (freedom - spent + PRIOR_READINGS))
    return Offsets(*twins.integrated(prior, variance, spread), variance**0.5)
