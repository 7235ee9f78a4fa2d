"""Offsets of instruments against the joint Gaussian written out in full, and against truth."""

from __future__ import annotations

import numpy as np
import pytest

from aging.decay.offset import offsets, walk_cov

LEVEL_SD = 1e3  # of specimens, in place of a flat prior


def simulated(seed, specimens=5, checks=9, noise=0.004):
    random = np.random.default_rng(seed)
    time = np.sort(random.uniform(0, 36, checks))
    time[0] = 0
    truth = np.cumsum(random.normal(0, 0.002, checks) * np.sqrt(np.diff(time, prepend=0)))
    values = random.normal(0.82, 0.01, (specimens, 1)) + truth
    values = values + random.normal(0, noise, values.shape)
    values[:, 1:][random.random((specimens, checks - 1)) < 0.2] = np.nan
    prior = walk_cov(np.zeros(checks, int), time, np.zeros(checks), 0.002, 0.003)
    return values, prior, truth


def dense(values, prior, noise):
    """Posterior of the offsets by conditioning everything at once."""
    specimen, check = np.nonzero(~np.isnan(values))
    y = values[specimen, check] - np.nanmean(values)
    pick = np.eye(len(prior))[check]
    cov = pick @ prior @ pick.T + LEVEL_SD**2 * (specimen[:, None] == specimen)
    cov += noise**2 * np.eye(y.size)
    gain = prior @ pick.T @ np.linalg.inv(cov)
    return gain @ y, prior - gain @ pick @ prior


def test_the_posterior_is_the_exact_one():
    values, prior, _ = simulated(1)
    found = offsets(values, prior, 0.004, 0.0)
    mean, cov = dense(values, prior, found.noise)
    assert found.mean == pytest.approx(mean, abs=1e-5)
    assert found.cov == pytest.approx(cov, abs=1e-7)


def test_offsets_and_their_errors_are_honest():
    scores, noises = [], []
    for seed in range(150):
        values, prior, truth = simulated(seed)
        found = offsets(values, prior, 0.004, 0.7)
        scores.append(((found.mean - truth) / np.sqrt(np.diag(found.cov) + 1e-12))[1:])
        noises.append(found.noise)
    inside = np.abs(np.array(scores)) < 1.645
    assert 0.86 < inside.mean() < 0.94
    assert np.mean(noises) == pytest.approx(0.004, rel=0.05)


def test_an_instrument_that_wanders_more_than_believed_is_followed():
    values, prior, _ = simulated(6, specimens=20)
    truth = np.linspace(0, 0.03, values.shape[1])
    follow, hold = (offsets(values + truth, prior / 16, 0.004, spread) for spread in (0.7, 0.0))
    assert follow.mean[-1] - hold.mean[-1] > 0.002
    assert follow.noise < hold.noise


def test_the_noise_is_seen_in_the_readings():
    values, prior, _ = simulated(2, specimens=40, noise=0.02)
    assert offsets(values, prior, 0.004, 0.7).noise == pytest.approx(0.02, rel=0.15)


def test_a_specimen_read_once_says_nothing():
    once = np.full((1, 3), np.nan)
    once[0, 1] = 0.9
    prior = walk_cov(np.zeros(3, int), np.array([0.0, 4.0, 9.0]), np.zeros(3), 0.001, 0.003)
    found = offsets(once, prior, 0.004, 0.0)
    assert found.mean == pytest.approx([0, 0, 0])
    assert found.cov == pytest.approx(prior)


def test_instruments_wander_apart_and_jump_at_events():
    instrument, time = np.array([0, 0, 1, 0]), np.array([0.0, 4.0, 0.0, 9.0])
    prior = walk_cov(instrument, time, np.array([0.0, 0.0, 1.0, 2.0]), 0.1, 0.5)
    assert prior[0].tolist() == [0, 0, 0, 0]
    assert prior[1].tolist() == pytest.approx([0, 0.04, 0, 0.04])
    assert prior[2].tolist() == pytest.approx([0, 0, 0.25, 0])
    assert prior[3, 3] == pytest.approx(0.09 + 0.5)
