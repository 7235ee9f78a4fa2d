"""The first page of each section answers that person's first question without a click."""

from __future__ import annotations

from datetime import UTC, datetime

import pandas as pd
import pytest
from app_page import figures, opened, texts
from claims_example import fill as with_claims
from rack_example import fill as with_rack

import aging
from aging.comparison import ranks
from aging.fieldwork.plan import visit_plan
from aging.source import open_source
from dashboard import claim_words, due_words, lead_words, ways_words, wording
from dashboard.launch import APP

OLD = ("log", "doubts", "story", "instruments", "decay", "compare", "additives", "spectra",
       "appearance", "scores")  # fmt: skip


@pytest.fixture(scope="module")
def claims(tmp_path_factory):
    path = tmp_path_factory.mktemp("claims") / "a.sqlite"
    with_claims(path)
    return path


def test_the_first_page_shows_a_way_to_each_section_and_keeps_nothing(claims, monkeypatch):
    app = opened(monkeypatch, claims)
    assert [one.value for one in app.header] == list(ways_words.SECTIONS.values())
    ways = {link.proto.page for link in app.get("page_link")}
    assert {"due", "leading", "holding", "overview", "help"} <= ways
    assert not app.query_params


def test_every_address_of_old_is_that_of_its_view():
    source = APP.read_text("utf-8")
    assert all(f'page("{name}",' in source for name in OLD)
    assert "url_path=view" in source


def test_the_technician_sees_what_is_due_and_logs_it_with_one_tap(tmp_path, monkeypatch):
    store = with_rack(tmp_path)
    app = opened(monkeypatch, store, "due")
    plan = visit_plan(open_source(store), pd.Timestamp(datetime.now(UTC).date()))
    states = plan["state"].value_counts()
    assert figures(app)[due_words.OVERDUE] == str(states.get("overdue", 0))
    assert figures(app)[due_words.DUE_NOW] == str(states.get("due", 0))
    now = plan[plan["state"].isin(["due", "overdue"])]
    links = [link.proto for link in app.get("page_link") if link.proto.page == "log"]
    assert len(links) == max(len(now), 1)
    assert all(site in texts(app) for site in now["site"])
    last = next(frame.value for frame in app.dataframe if "readings" in frame.value)
    assert set(last["site"]) == {"HILL", "YARD"}


def test_the_formulator_sees_who_leads_and_how_surely(claims, monkeypatch):
    app = opened(monkeypatch, claims, "leading")
    rows = ranks(aging.fit(claims), 36.0).query("site == 'all' and rank == 1")
    best = rows.loc[rows["probability"].idxmax()]
    assert figures(app)[lead_words.BEST] == wording.chance(best["probability"])
    told = texts(app)
    assert f"{best['formulation']} leads in solar reflectance at 36 months (projected" in told
    assert "told from the second" in told
    assert "90 % interval" in told


def test_the_manager_sees_trouble_first_and_what_is_due(claims, monkeypatch):
    app = opened(monkeypatch, claims, "holding")
    assert figures(app) == {"Broken": "1", "At risk": "1", "Cannot tell": "0", "Holds": "2"}
    told = texts(app)
    assert told.index("Broken:") < told.index("At risk:") < told.index("Holds:")
    assert "What would break it" in told
    links = [link.proto for link in app.get("page_link") if link.proto.page == "claim"]
    assert len(links) == 4


def test_without_a_store_the_manager_reads_how_to_make_one(folder, monkeypatch):
    app = opened(monkeypatch, folder, "holding")
    assert claim_words.NEEDS_STORE in texts(app)
