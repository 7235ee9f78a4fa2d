"""Claims are listed by trouble, shown with what stands behind them, made once, and withdrawn."""

from __future__ import annotations

import json
import re
import shutil
from dataclasses import replace
from io import BytesIO
from zipfile import ZipFile

import pytest
from app_page import figures, opened, texts
from claims_example import fill
from streamlit.testing.v1 import AppTest

from aging.claims import card, claims, standing, watch
from aging.claims.words import CAUTIONS
from aging.ledger import open_ledger
from aging.source import open_source
from dashboard import claim_words as wording
from dashboard import claims as page
from dashboard import claims_case_words as case_words
from dashboard import data
from dashboard.launch import APP, SOURCE


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    path = tmp_path_factory.mktemp("claims") / "a.sqlite"
    return path, fill(path)


def test_trouble_comes_first_and_ended_claims_last(made, monkeypatch):
    path, ids = made
    app = opened(monkeypatch, path, "claims")
    assert figures(app) == {"Broken": "1", "At risk": "1", "Cannot tell": "0", "Holds": "2"}
    table, past = (one.value for one in app.dataframe)
    named = {claim: name for name, claim in ids.items()}
    order = [named[claim] for claim in table["Claim"]]
    assert order == ["broken", "at risk", "holds", "right", "withdrawn"]
    last = table.iloc[-1]
    assert last["State"] == "Withdrawn"
    assert last[wording.CLAIM_COLUMNS["breaks"]].endswith("by Zoë: *no longer* sold")
    every = watch(open_source(path), ended=True)
    told = {one.claim.claim: one for one in every}[ids["at risk"]]
    shown = table.set_index("Claim").loc[ids["at risk"]]
    assert float(shown["Margin"]) == pytest.approx(told.margin, abs=6e-4)
    assert float(shown["Moved"]) == pytest.approx(told.moved, abs=6e-4) != 0
    assert (
        f"a mean of {told.breaks_at:.3f} or less at month 27"
        in shown[wording.CLAIM_COLUMNS["breaks"]]
    )
    assert (
        f"{told.distance:.3f} ({told.sigmas:.1f} sd) below"
        in shown[wording.CLAIM_COLUMNS["breaks"]]
    )
    far, near = (replace(told, sigmas=sd) for sd in (3.1, 2.9))
    assert wording.breaks(far).endswith(" below what is expected, or nearer")
    assert wording.breaks(near).endswith(" below what is expected")
    assert texts(app).index("Broken: B4") < texts(app).index("At risk: A8")
    decided, sentence = card(every)
    assert sentence in texts(app)
    assert past["claim"].tolist() == decided["claim"].tolist() == [ids["right"]]
    assert CAUTIONS[0] in texts(app)


@pytest.mark.parametrize(
    ("name", "state"),
    [("holds", "Holds"), ("at risk", "At risk"), ("broken", "Broken"), ("withdrawn", "Withdrawn")],
)
def test_a_claims_page_shows_its_words_value_and_evidence(made, monkeypatch, name, state):
    path, ids = made
    app = opened(monkeypatch, path, "claim", claim=ids[name])
    claim = next(one for one in claims(open_source(path)) if one.claim == ids[name])
    assert app.selectbox(key="claim").value == ids[name]
    assert figures(app)[wording.STATE] == state
    assert figures(app)[wording.CLAIMED] == f"{claim.value:.2f}"
    assert app.code[0].value == claim.wording
    spec = json.loads(app.get("vega_lite_chart")[0].proto.spec)
    assert f"The dashed line is the claimed {claim.value:.2f}" in spec["description"]
    assert spec["description"] in texts(app)
    assert "of the worst site, COAST" in texts(app)
    table = next(one.value for one in app.dataframe if "verdict" in one.value)
    place = table["verdict"].map(["undecided", "not met", "met"].index)
    assert place.is_monotonic_increasing
    assert table["probability"].between(0, 1).all()
    assert "check before use" in set(table["checked"])
    assert (f"withdraw it {ids[name]}" in {one.key for one in app.button}) == (name != "withdrawn")


def test_the_dossier_is_made_when_asked_for_and_then_offered(made, monkeypatch):
    path, ids = made
    app = opened(monkeypatch, path, "claim", claim=ids["holds"])
    assert not app.get("download_button")
    app.button(key=f"prepare {ids['holds']}").click().run()
    assert not app.exception
    labels = [label for label, _ in wording.PAPERS.values()]
    assert [one.proto.label for one in app.get("download_button")] == labels
    files = page.papers(data.opened(str(path)), ids["holds"])
    claim = next(one for one in claims(open_source(path)) if one.claim == ids["holds"])
    assert files["pdf"].startswith(b"%PDF")
    assert claim.evidence_digest.encode() in files["html"]
    with ZipFile(BytesIO(files["zip"])) as pack:
        assert pack.testzip() is None


def test_a_broken_claim_names_the_visit_that_broke_it(made, monkeypatch):
    path, ids = made
    app = opened(monkeypatch, path, "claim", claim=ids["broken"])
    (told,) = [text.value for text in app.text if "since the visit of" in text.value]
    assert told.startswith("Broken since the visit of 2024-03-01 at ")
    assert all(site in told for site in ("COAST", "DESERT", "TOWN"))
    (figures,) = re.findall(r"by (-0\.\d+), from (0\.\d+) to (0\.\d+) ", told)
    moved, before, after = map(float, figures)
    (now,) = [one for one in watch(open_source(path)) if one.claim.claim == ids["broken"]]
    assert moved == pytest.approx(after - before, abs=1.1e-3) != 0
    assert after == pytest.approx(now.estimate, abs=2e-3)
    assert told.index("from 0.") < told.index("(solar reflectance, fraction)")
    app = opened(monkeypatch, path, "claim", claim=ids["holds"])
    assert "since the visit of" not in texts(app)


def test_the_page_says_what_is_missing_and_when_it_can_be_met(made, monkeypatch):
    app = opened(monkeypatch, made[0], "claim_new", formulation="A8", basis="measured")
    missing = [line for line in texts(app).splitlines() if "Missing." in line]
    assert missing[0].startswith("\u2717 Missing. Panels at each site: then: none")
    assert "From 2025-01-30 on" in missing[1]  # month 36 less 30 days
    assert "cannot be recorded as measured before every gate is met" in texts(app)
    assert figures(app)[case_words.VALUE] == "none"
    assert not [one for one in app.button if one.key == "record"]


def test_a_claim_is_made_once_listed_and_withdrawn(made, tmp_path, monkeypatch):
    path = shutil.copy(made[0], tmp_path / "a.sqlite")
    before = {one.claim for one in standing(open_source(path))}
    app = opened(monkeypatch, path, "claim_new", formulation="A8", months="48")
    assert app.selectbox(key="basis").value == "projected"  # 48 months are too far for more
    value = figures(app)[case_words.VALUE]
    app.button(key="record").click().run()
    assert "by" in texts(app).rpartition(case_words.REFUSED)[2]  # no name was given

    app.segmented_control(key="wording 1").set_value(case_words.OWN).run()
    own = next(one for one in app.text_area if one.label == case_words.OWN_TEXT)
    own.set_value("A8 stays white for <b>years</b>.").run()
    assert "Safer: reads at least" in texts(app)
    assert "<mark>stays white</mark> for &lt;b&gt;years" in app.get("html")[0].proto.body
    app.text_input(key="claims as").set_value("Ada")
    app.button(key="record").click().run()
    assert "'stays white'" in texts(app)
    words = f"A8: projected to read {value} or more after 48 months at three sites."
    next(one for one in app.text_area if one.label == case_words.OWN_TEXT).set_value(words)
    app.button(key="record").click().run()
    assert not app.exception

    (new,) = [one for one in standing(open_source(path)) if one.claim not in before]
    assert (new.wording, new.made_by, new.basis) == (words, "Ada", "projected")
    assert f"{new.value:.2f}" == value
    assert app.selectbox(key="claim").value == new.claim  # the page of the claim came up
    assert figures(app)[wording.STATE] == "Holds"
    app = opened(monkeypatch, path, "claims")
    assert new.claim in app.dataframe[0].value["Claim"].tolist()

    app = opened(monkeypatch, path, "claim", claim=new.claim)
    app.button(key=f"withdraw it {new.claim}").click().run()
    assert "reason" in texts(app)
    app.text_input(key=f"why {new.claim}").set_value("no longer sold")
    app.text_input(key=f"by {new.claim}").set_value("Ada")
    app.button(key=f"withdraw it {new.claim}").click().run()
    assert figures(app)[wording.STATE] == "Withdrawn"
    assert "by Ada: no longer sold" in texts(app)


def test_a_second_tap_records_no_second_claim(made, tmp_path):
    path = shutil.copy(made[0], tmp_path / "a.sqlite")
    known = data.opened(str(path))
    of = page.case(known, "A8", "solar_reflectance", 48.0, "internal")
    first = page.record(known, of, of.sentences[0], by="Ada")
    assert page.record(known, of, f" {of.sentences[0]} ", by="Ada") == first
    other = page.record(known, of, "A8 reads 0.71 at 48 months, inside.", by="Ada")
    assert other != first
    with open_ledger(path) as book:
        assert len(standing(book.read())) == 4 + 2


def test_without_claims_or_a_store_the_page_says_what_comes_next(
    made, folder, tmp_path, monkeypatch
):
    app = opened(monkeypatch, folder, "claims")
    assert wording.NEEDS_STORE in texts(app)
    assert wording.STORE_COMMANDS in [one.value for one in app.code]
    with open_ledger(tmp_path / "b.sqlite", create=True) as book:
        book.append(open_source(folder), by="desk", source="t")
    for view in ("claims", "claim"):
        app = opened(monkeypatch, tmp_path / "b.sqlite", view)
        assert wording.NONE_YET in texts(app)
    app = opened(monkeypatch, made[0], "claim", claim="nosuch")
    assert wording.NO_SUCH + "nosuch" in texts(app)


def test_a_pasted_text_is_marked_with_the_reason_and_never_rendered(monkeypatch):
    monkeypatch.delenv(SOURCE, raising=False)
    app = AppTest.from_file(str(APP), default_timeout=60).run()
    app.switch_page("views/claim_text.py").run()
    text = "It reflects.\nOur <img src=x> coating is dirt-proof and eco friendly."
    app.text_area(key="text to check").set_value(text).run()
    assert not app.exception
    assert "2 expressions to avoid" in texts(app)
    assert "Line 2, \u201cdirt-proof\u201d: one soiled panel contradicts it." in texts(app)
    body = app.get("html")[0].proto.body
    assert "&lt;img src=x&gt; coating is <mark>dirt-proof</mark>" in body
