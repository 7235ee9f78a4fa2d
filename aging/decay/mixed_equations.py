"""Mixed-model equations of one design, solved exactly for any spreads of its random effects.

    y = X beta + sum_k Z_k u_k + e,    rows of u_k ~ N(0, s^2 T_k T_k'),    e ~ N(0, s^2)

The T_k are lower triangular and relative to the residual, so that the likelihood is smooth where a
spread is zero; beta and s are profiled out (Bates et al. 2015, doi 10.18637/jss.v067.i01). The
first effect is eliminated level by level (Henderson 1975, doi 10.2307/2529430), at a cost linear in
its levels; one Cholesky factor solves the other effects, X and y.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.linalg import block_diag, solve_triangular
from scipy.sparse import csr_array

from aging.decay.ragged import FloatArray, IntArray
from aging.decay.site import Array
from aging.errors import ModelError, require

Effects = Mapping[str, npt.ArrayLike | tuple[npt.ArrayLike, npt.ArrayLike]]

MISSING = ("", "nan", "None", "NaT", "<NA>")
ALIASED = 1e-9  # share of a column that other columns leave unexplained


@dataclass(frozen=True)
class Block:
    """Effect k: its Q levels, the level of each reading (N,) and the readings' columns (N, R)."""

    name: str
    levels: npt.NDArray[Any]
    code: IntArray
    z: FloatArray

    @property
    def shape(self) -> tuple[int, int]:
        """Of u, (Q, R)."""
        return len(self.levels), self.z.shape[1]

    @property
    def wide(self) -> csr_array:
        """Z as a matrix (N, Q R)."""
        n, r = self.z.shape
        column = (self.code[:, None] * r + np.arange(r)).ravel()
        rows = np.arange(0, n * r + 1, r)
        return csr_array((self.z.ravel(), column, rows), shape=(n, len(self.levels) * r))


@dataclass(frozen=True)
class Solved:
    """beta (P,) and u (Q, R) of each effect, with covariances (P, P) and (Q, R, R) over s^2."""

    s: float
    beta: FloatArray
    beta_cov: FloatArray
    u: list[FloatArray]
    u_cov: list[FloatArray]

    def path(self, X: FloatArray, blocks: Sequence[Block]) -> FloatArray:
        """X beta + sum Z u of any readings of these levels, (N,)."""
        random = [(b.z * u[b.code]).sum(axis=1) for b, u in zip(blocks, self.u, strict=True)]
        return X @ self.beta + np.sum(random, axis=0)


class Equations:
    """Cross products of y (N,), X (N, P) and the blocks. ModelError where X is not of full rank."""

    def __init__(
        self, y: FloatArray, X: FloatArray, blocks: Sequence[Block], *, restricted: bool
    ) -> None:
        q, self.r = np.linalg.qr(X)
        self.p, self.blocks, self.restricted = X.shape[1], blocks, restricted
        if (np.abs(np.diagonal(self.r)) <= ALIASED * np.linalg.norm(X, axis=0)).any():
            raise ModelError("a column of X is zero or follows from the others; leave it out")
        for block in blocks:
            length = (block.z**2).sum()
            if length - ((block.wide.T @ q) ** 2).sum() <= ALIASED * length:
                raise ModelError(
                    f"effect {block.name!r}: X holds it already; leave one of them out"
                )
        self.mean = q.T @ y
        centred = y - q @ self.mean
        self.unit = float(np.sqrt(np.mean(centred**2)))
        if self.unit <= ALIASED * np.abs(y).max():
            raise ModelError("X meets every reading, so there is no spread to divide")
        self.df = y.size - (self.p if restricted else 0)
        first, *others = blocks
        rest = np.column_stack([*(b.wide.toarray() for b in others), q, centred / self.unit])
        self.gram = rest.T @ rest
        self.cross = (first.wide.T @ rest).reshape(*first.shape, -1)
        self.own = np.zeros((*first.shape, first.shape[1]))
        np.add.at(self.own, first.code, first.z[:, :, None] * first.z[:, None, :])

    def _factored(self, factors: Sequence[FloatArray]) -> tuple[Array, Array, Array]:
        """Cholesky factors of the first effect's levels and of all else, and what links them."""
        first, *others = factors
        pairs = zip(self.blocks[1:], others, strict=True)
        random = [np.kron(np.eye(len(block.levels)), factor) for block, factor in pairs]
        scale = block_diag(*random, np.eye(self.p + 1))
        root = np.linalg.cholesky(first.T @ self.own @ first + np.eye(len(first)))
        link = np.linalg.solve(root, first.T @ self.cross @ scale)
        rest = scale.T @ self.gram @ scale - np.tensordot(link, link, ((0, 1), (0, 1)))
        rest[np.diag_indices(len(rest) - self.p - 1)] += 1
        return root, link, np.linalg.cholesky(rest)

    def deviance(self, factors: Sequence[FloatArray]) -> float:
        """-2 log likelihood, infinite where rounding leaves no residual."""
        try:
            root, _, lower = self._factored(factors)
        except np.linalg.LinAlgError:
            return float("inf")
        log = np.log(np.diagonal(lower))
        size = np.log(np.diagonal(root, axis1=1, axis2=2)).sum() + log[: -self.p - 1].sum()
        if self.restricted:
            size += log[-self.p - 1 : -1].sum() + np.log(np.abs(np.diagonal(self.r))).sum()
        noise = 2 * (log[-1] + np.log(self.unit)) - np.log(self.df)
        return float(2 * size + self.df * (1 + np.log(2 * np.pi) + noise))

    def solve(self, factors: Sequence[FloatArray]) -> Solved:
        """All that follows from the factors."""
        root, link, lower = self._factored(factors)
        half = np.linalg.inv(lower[:-1, :-1])
        inverse = half.T @ half
        solution = half.T @ lower[-1, :-1]
        up = np.swapaxes(np.linalg.inv(root), 1, 2)
        onward, pull = up @ link[..., :-1], (up @ link[..., -1:])[..., 0]
        u = [pull - onward @ solution]
        cov = [up @ np.swapaxes(up, 1, 2) + onward @ inverse @ np.swapaxes(onward, 1, 2)]
        start = 0
        for block in self.blocks[1:]:
            at = start + np.arange(np.prod(block.shape)).reshape(block.shape)
            u.append(solution[at])
            cov.append(inverse[at[:, :, None], at[:, None, :]])
            start += at.size
        to_x = solve_triangular(self.r, np.eye(self.p))
        return Solved(
            s=float(lower[-1, -1] * self.unit / np.sqrt(self.df)),
            beta=to_x @ (self.mean + self.unit * solution[start:]),
            beta_cov=to_x @ inverse[start:, start:] @ to_x.T,
            u=[self.unit * row @ T.T for row, T in zip(u, factors, strict=True)],
            u_cov=[T @ square @ T.T for square, T in zip(cov, factors, strict=True)],
        )


def read_design(n: int, X: npt.ArrayLike, effects: Effects) -> tuple[FloatArray, list[Block]]:
    """X (N, P) and the effects, largest first; CallError on what does not fit n readings.

    ModelError where an effect cannot be told from the residual or from another effect.
    """
    columns = _columns("X", X, n)
    require(n > columns.shape[1], "columns of X", columns.shape[1], f"fewer than {n} readings")
    require(bool(effects), "effects", effects, "at least one")
    blocks = [_block(n, name, given) for name, given in effects.items()]
    for one, other in combinations(blocks, 2):
        joint = len(np.unique(np.column_stack([one.code, other.code]), axis=0))
        if joint == len(one.levels) == len(other.levels) and np.array_equal(one.z, other.z):
            raise ModelError(
                f"effects {one.name!r} and {other.name!r} divide the readings alike; "
                "leave one of them out"
            )
    return columns, sorted(blocks, key=lambda block: -np.prod(block.shape))


def _block(n: int, name: str, given: npt.ArrayLike | tuple[npt.ArrayLike, npt.ArrayLike]) -> Block:
    codes, z = given if isinstance(given, tuple) else (given, np.ones(n))
    columns, labels = _columns(f"Z of effect {name!r}", z, n), np.asarray(codes)
    text = labels.astype(str)
    require(labels.ndim in {1, 2} and len(labels) == n and not np.isin(text, MISSING).any(),
            f"codes of effect {name!r}", codes, f"{n} labels, none missing")  # fmt: skip
    labels = text if labels.dtype == object else labels
    require(bool(columns.any(axis=0).all()), f"Z of effect {name!r}", z, "no column of zeros")
    levels, code = np.unique(labels, axis=0, return_inverse=True)
    if not 1 < len(levels) < n / columns.shape[1]:
        raise ModelError(
            f"effect {name!r}: {len(levels)} levels of {columns.shape[1]} columns in {n} readings; "
            "it needs at least 2 levels, and fewer coefficients than there are readings"
        )
    return Block(name, levels, code.ravel(), columns)


def _columns(what: str, given: npt.ArrayLike, n: int) -> FloatArray:
    columns = np.asarray(given, float)
    columns = columns[:, None] if columns.ndim == 1 else columns
    require(columns.ndim == 2 and len(columns) == n and bool(np.isfinite(columns).all()),  # noqa: PLR2004
            what, given, f"{n} rows of finite numbers")  # fmt: skip
    return columns
