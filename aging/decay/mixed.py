"""Gaussian mixed models by exact maximum or restricted maximum likelihood.

    y = X beta + sum_k Z_k u_k + e,    rows of u_k ~ N(0, s^2 T_k T_k'),    e ~ N(0, s^2)

Effect k has a row of u_k for each of its levels (a panel, a visit, an instrument) and a column for
each column of Z: 1 for a shift, (1, t) for a shift and a slope that may be correlated. Effects may
be nested or crossed. X and Z may depend on parameters theta; as the effects stay linear, that
likelihood is exact too (no linearisation, no quadrature). Standard errors take the spreads as
known, those of theta also the curvature at the predicted effects (Lindstrom & Bates 1990,
doi 10.2307/2532087): too small where an effect has few levels.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

from aging.decay.mixed_equations import Block, Effects, Equations, Solved, read_design
from aging.decay.ragged import FloatArray
from aging.errors import CallError, ModelError, require

Design = Callable[[FloatArray], tuple[npt.ArrayLike, Effects]]

SMALL, SAME = 1e-2, 1e-7  # a factor below SMALL is zero if -2 log likelihood then stays the SAME
EXACT = 1e-5  # share of the spread around X that is no residual but rounding
FAR = 14.0  # asinh of a factor that leaves a residual of rounding only
FLAT = 1e-3  # steepest slope of -2 log likelihood at an optimum
STEP = float(np.finfo(float).eps ** 0.2)


class MixedOutcome(IntEnum):
    """How the search ended."""

    FITTED = 0
    SPREAD_AT_ZERO = 1
    CORRELATION_AT_ONE = 2
    RESIDUAL_AT_ZERO = 3
    NOT_CONVERGED = 4

    @property
    def label(self) -> str:
        """The outcome in words, such as "spread at zero"."""
        return self.name.lower().replace("_", " ")


@dataclass(frozen=True)
class Effect:
    """A random effect of Q levels and R columns.

    levels : (Q,) or (Q, K), sorted
    sd, correlation : (R,) and (R, R), the latter 0 beside a zero spread
    predicted : (Q, R) best linear unbiased predictor of u
    standard_errors : (Q, R) of its distance from u
    """

    levels: npt.NDArray[Any]
    sd: FloatArray
    correlation: FloatArray
    predicted: FloatArray
    standard_errors: FloatArray


@dataclass(frozen=True)
class MixedFit:
    """A fitted mixed model.

    coefficients : (P,) of the columns of X
    theta : (M,) nonlinear parameters, none for a linear model
    covariance : (P + M, P + M) of both, in this order
    fitted : (N,) X beta + sum Z u
    """

    coefficients: FloatArray
    theta: FloatArray
    covariance: FloatArray
    effects: Mapping[str, Effect]
    residual_sd: float
    log_likelihood: float
    fitted: FloatArray
    outcome: MixedOutcome

    @property
    def standard_errors(self) -> FloatArray:
        """Of coefficients, then theta, (P + M,)."""
        return np.sqrt(np.diagonal(self.covariance))


def fit_mixed(
    y: npt.ArrayLike,
    X: npt.ArrayLike,
    effects: Effects,
    *,
    method: Literal["reml", "ml"] = "reml",
) -> MixedFit:
    """Fit y (N,) on X (N, P) with random effects: name -> codes, or (codes, Z).

    Codes (N,) name the level of each reading; codes (N, K) name it by K labels together. Z (N,) or
    (N, R) holds the effect's columns; without it the effect is a shift. Raises CallError on arrays
    that do not fit together, ModelError where an effect cannot be told from another, from X or
    from the residual.
    """
    require(method in {"reml", "ml"}, "method", method, ("reml", "ml"))
    return _fit(y, lambda _: (X, effects), [], restricted=method == "reml")


def fit_mixed_curve(y: npt.ArrayLike, design: Design, start: npt.ArrayLike) -> MixedFit:
    """Fit y (N,) by maximum likelihood where design(theta) gives X and effects as for fit_mixed.

    The search begins at theta = `start` (M,). (Restricted likelihoods of different X do not
    compare, so there is no such fit.) Errors as for fit_mixed.
    """
    return _fit(y, design, start, restricted=False)


def _fit(y: npt.ArrayLike, design: Design, start: npt.ArrayLike, *, restricted: bool) -> MixedFit:
    values, begin = np.asarray(y, float), np.asarray(start, float)
    require(values.ndim == 1 and bool(np.isfinite(values).all()), "y", y,
            "a flat array of finite numbers; leave missing readings out")  # fmt: skip

    def read(theta: FloatArray) -> tuple[FloatArray, list[Block]]:
        return read_design(values.size, *design(theta))

    fixed = Equations(values, *read(begin), restricted=restricted)

    def equations(theta: FloatArray) -> Equations:
        return Equations(values, *read(theta), restricted=restricted) if theta.size else fixed

    theta, factors, deviance, flat = _search(equations, begin, fixed.blocks)
    model = equations(theta)
    solved, (X, blocks) = model.solve(factors), read(theta)
    cov, slopes = solved.beta_cov, []
    for i, step in enumerate(STEP * _size(theta)):
        ahead, back = theta + step * np.eye(theta.size)[i], theta - step * np.eye(theta.size)[i]
        slopes.append((solved.path(*read(ahead)) - solved.path(*read(back))) / (2 * step))
    if slopes:
        wide = np.column_stack([X, *slopes])
        cov = Equations(values, wide, blocks, restricted=restricted).solve(factors).beta_cov
    return MixedFit(
        solved.beta, theta, solved.s**2 * cov,
        {block.name: _effect(k, block, factors, solved) for k, block in enumerate(blocks)},
        solved.s, -deviance / 2, solved.path(X, blocks),
        _outcome(factors, exact=solved.s < EXACT * model.unit, flat=flat),
    )  # fmt: skip


def _size(theta: FloatArray) -> FloatArray:
    return np.where(theta == 0, 1.0, np.abs(theta))


def _search(
    equations: Callable[[FloatArray], Equations], begin: FloatArray, blocks: Sequence[Block]
) -> tuple[FloatArray, list[FloatArray], float, bool]:
    """theta, factors and -2 log likelihood at the optimum, and whether it is flat there."""
    spans = [np.sqrt(np.mean(block.z**2, axis=0)) for block in blocks]
    places = [np.tril_indices(span.size) for span in spans]
    cuts = np.cumsum([begin.size, *(rows.size for rows, _ in places)])

    def unpack(x: FloatArray) -> tuple[FloatArray, list[FloatArray]]:
        factors = [np.zeros((span.size, span.size)) for span in spans]
        for factor, place, span, own in zip(
            factors, places, spans, np.split(x, cuts)[1:-1], strict=True
        ):
            factor[place] = np.sinh(own) / span[place[0]]  # linear at zero, a logarithm far away
        return x[: begin.size] * _size(begin), factors

    def deviance(x: FloatArray) -> float:
        theta, factors = unpack(x)
        try:
            return equations(theta).deviance(factors)
        except (CallError, ModelError):
            return float("inf")

    eyes = (np.eye(span.size)[place] for span, place in zip(spans, places, strict=True))
    x = np.concatenate([begin / _size(begin), *eyes])
    with np.errstate(all="ignore"):
        found = minimize(deviance, x, method="BFGS", jac="3-point", options={"gtol": 1e-6})
        if np.abs(found.jac).max() >= FLAT:  # a step too far, as where the likelihood has no bound
            bounds = [(None, None)] * begin.size + [(-FAR, FAR)] * (x.size - begin.size)
            again = minimize(deviance, found.x, method="L-BFGS-B", jac="3-point", bounds=bounds)
            found = again if again.fun < found.fun else found
    x = found.x
    for i in range(begin.size, x.size):
        zeroed = np.where(np.arange(x.size) == i, 0.0, x)
        if abs(x[i]) < SMALL and deviance(zeroed) <= found.fun + SAME:
            x = zeroed
    return *unpack(x), float(found.fun), float(np.abs(found.jac).max()) < FLAT


def _outcome(factors: Sequence[FloatArray], *, exact: bool, flat: bool) -> MixedOutcome:
    if exact:
        return MixedOutcome.RESIDUAL_AT_ZERO
    if not flat:
        return MixedOutcome.NOT_CONVERGED
    if any((factor == 0).all(axis=1).any() for factor in factors):
        return MixedOutcome.SPREAD_AT_ZERO
    if any((np.diagonal(factor) == 0).any() for factor in factors):
        return MixedOutcome.CORRELATION_AT_ONE
    return MixedOutcome.FITTED


def _effect(k: int, block: Block, factors: Sequence[FloatArray], solved: Solved) -> Effect:
    cov = solved.s**2 * factors[k] @ factors[k].T
    sd = np.sqrt(np.diagonal(cov))
    correlation = cov / np.outer(np.where(sd == 0, 1, sd), np.where(sd == 0, 1, sd))
    np.fill_diagonal(correlation, 1.0)
    errors = solved.s * np.sqrt(np.diagonal(solved.u_cov[k], axis1=1, axis2=2))
    return Effect(block.levels, sd, correlation, solved.u[k], errors)
