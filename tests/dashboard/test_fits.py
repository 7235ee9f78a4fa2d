"""Long fits run beside the pages: one for all who ask, with progress, and they can be cancelled."""

from __future__ import annotations

from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from aging import shelf
from aging.intake import read
from aging.projection import apart
from dashboard import data, fit_words, fits, launch

APP = Path(fits.__file__).with_name("app.py")


@pytest.fixture(autouse=True)
def long(monkeypatch, tmp_path, folder):
    """Every fit counts as long, and no page waits for it."""
    st.cache_resource.clear()
    monkeypatch.setenv(launch.SOURCE, str(folder))
    monkeypatch.setenv("AGING_CACHE", str(tmp_path / "own"))
    monkeypatch.setattr(fits, "LONG", 0)
    monkeypatch.setattr(fits, "PATIENCE", 0.0)
    yield
    st.cache_resource.clear()


def test_a_page_shows_how_far_the_fit_is_and_then_what_it_gives(monkeypatch):
    app = AppTest.from_file(str(APP), default_timeout=120).switch_page("views/decay.py").run()
    assert not app.exception
    assert [button.label for button in app.button] == [fit_words.CANCEL]
    assert not app.get("vega_lite_chart")
    (job,) = fits._jobs()[0].values()  # noqa: SLF001 - the one job
    assert job.ended.wait(120)
    assert job.error is None
    assert 0 < job.done == job.of
    app.run()
    assert not app.exception
    assert app.get("vega_lite_chart")
    assert shelf.names("fit")

    def never(*_, **__):
        raise AssertionError

    st.cache_resource.clear()  # as after a restart: nothing is fitted again
    monkeypatch.setattr(apart, "fit_apart", never)
    monkeypatch.setattr(fits, "PATIENCE", 60.0)
    again = AppTest.from_file(str(APP), default_timeout=120).switch_page("views/decay.py").run()
    assert not again.exception
    assert again.get("vega_lite_chart")


@pytest.mark.parametrize("shelves", ["own", "off"])
def test_a_cancelled_fit_stays_so_until_somebody_asks_again(folder, monkeypatch, shelves):
    if shelves == "off":
        monkeypatch.setenv("AGING_CACHE", shelves)
    exposure = read(folder).exposure
    key = (str(folder), 0, "solar_reflectance", None)
    with pytest.raises(fits.Running) as first:
        fits.fit(key, exposure)
    job = first.value.job
    job.cancelled = True
    assert job.ended.wait(120)
    assert job.fit is None
    with pytest.raises(fits.Running) as other:
        fits.fit(key, exposure)
    assert other.value.job is job  # of all who ask
    fits._forget(job)  # noqa: SLF001 - what the button does
    monkeypatch.setattr(fits, "PATIENCE", 120.0)
    assert fits.fit(key, exposure).series


def test_a_fit_that_cannot_be_is_told_as_without_a_job(folder, monkeypatch):
    monkeypatch.setattr(fits, "PATIENCE", 120.0)
    exposure = read(folder).exposure
    with pytest.raises(Exception, match="no unwashed readings of gloss_60"):
        fits.fit((str(folder), 0, "gloss_60", None), exposure)


def test_a_process_apart_leaves_its_fits_on_the_shelf(folder):
    seen = []
    assert apart.fit_apart(
        str(folder), "solar_reflectance", None,
        on_progress=lambda *told: seen.append(told) or True,
    )  # fmt: skip
    assert seen[-1][0] == seen[-1][1] == len(shelf.names("fit"))


def test_small_fits_start_no_job(folder, monkeypatch):
    monkeypatch.setattr(fits, "LONG", 15_000)
    assert data.fitted(data.opened(str(folder)), "solar_reflectance").series
    assert fits._jobs()[0] == {}  # noqa: SLF001 - none
