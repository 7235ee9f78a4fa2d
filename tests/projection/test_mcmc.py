"""The fit of a site against NUTS on the same model: equal intervals, in a fraction of the time.

Run with `pytest -m slow -s` (agreement) or `pytest -m bench -s` (time). The sampler has the
visits' Student t itself where the fit has precision factors, and whole priors where it has a grid.
"""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np
import pytest

from aging.decay.posterior import fit_site
from aging.decay.priors import priors_for
from aging.decay.site import SiteReadings
from aging.decay.spreads import panel_spreads
from aging.vocabulary import PROPERTIES

PRIORS = priors_for(PROPERTIES["solar_reflectance"])
WARM_UP, DRAWS = 1400, 12_000
ENDS = (0.05, 0.95)
SHARE = np.array(list(PRIORS.courses.values()))


def eleven_months(groups=4, panels=3, visits=9):
    random = np.random.default_rng(3)
    months = np.linspace(0, 11, visits)
    group = np.repeat(np.arange(groups), panels)

    def drawn(sd, *shape):
        return random.normal(0, sd, shape)

    loss = (0.17 + drawn(0.04, groups))[group] + drawn(0.012, group.size)
    initial = (0.82 + drawn(0.02, groups))[group] + drawn(0.006, group.size)
    dry = random.uniform(-0.4, 0.4, visits)
    at_visit = 0.006 * random.standard_t(4, visits) - 0.02 * dry * (1 - np.exp(-months / 2))
    values = initial[:, None] - loss[:, None] * (1 - np.exp(-0.22 * months)) - 0.0006 * months
    values = values + at_visit + drawn(0.004, groups, visits)[group]
    values = values + drawn(0.004, group.size, visits)
    none = np.zeros(visits)
    return SiteReadings(values, group, months, dry, none, none, dryness_sd=0.25)


SITE = eleven_months()


@dataclass(frozen=True)
class Sampled:
    """NUTS of one course: draws of state and reading, its CPU seconds, its effective draws."""

    draws: np.ndarray
    warm_up: float
    seconds: float
    effective: float


@pytest.fixture(scope="module")
def courses():
    from numpyro.diagnostics import effective_sample_size  # heavy, and only for this
    from numpyro_model import Sampler, known_of, targets

    sampler = Sampler(known_of(SITE, PRIORS, panel_spreads(SITE, PRIORS)), WARM_UP)
    random, found = np.random.default_rng(1), []
    for course in range(SHARE.size):
        told, seconds = sampler.draw(course, DRAWS)
        draws = targets(told, SITE.dryness_sd, random)
        least = min(effective_sample_size(one[None]) for one in draws.T)
        found.append(Sampled(draws, *seconds, float(least)))
    return found


@pytest.mark.slow
def test_interval_ends_are_those_of_full_sampling(courses):
    fitted = fit_site(SITE, PRIORS, draws=40_000)
    assert fitted.course_weight == pytest.approx(PRIORS.courses)  # so short a series tells nothing
    ours = np.concatenate([target[0] for target in fitted.at([36.0])], axis=1)
    theirs = np.quantile(
        np.concatenate([one.draws for one in courses]), ENDS, axis=0,
        weights=np.repeat(SHARE, DRAWS), method="inverted_cdf",
    )  # fmt: skip
    apart = np.quantile(ours, ENDS, axis=0) - theirs
    effective = 1 / sum(SHARE**2 / [one.effective for one in courses])
    print(f"\n{effective:.0f} effective draws, ends apart by {np.abs(apart).max():.4f}; x 1e-4:")
    print((1e4 * apart).round().astype(int))
    assert effective > 8000
    assert np.abs(apart).max() < 0.003


@pytest.mark.bench
def test_at_least_50_times_faster_than_1000_effective_draws(courses, capsys):
    """CPU seconds, with warm-up, without compiling; a course draws its weight's part of 1,000."""
    ours = []
    for _ in range(10):
        began = time.process_time()
        fitted = fit_site(SITE, PRIORS)
        fitted.at([36.0])
        ours.append(time.process_time() - began)
    warm_up = sum(one.warm_up for one in courses)
    draws = sum(1000 * SHARE * [one.seconds / one.effective for one in courses])
    ratio = (warm_up + draws) / min(ours)
    with capsys.disabled():
        print(f"\nfit {min(ours):.2f} s, NUTS {warm_up:.1f} + {draws:.1f} s: {ratio:.0f} x")
    assert ratio >= 50
