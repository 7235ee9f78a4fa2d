"""A claim is made, its dossier taken out, a visit comes in badly, and the claim is at risk."""

from __future__ import annotations

import pytest
from claims_example import exposure
from walk import Walk, serving, typed

from aging.claims import claims, watch
from aging.simulation.write import write_folder
from aging.source import open_source
from dashboard import claim_words, hold_words, ways_words
from dashboard import claims_case_words as case_words

BAD = 0.014  # what the last visit reads too low


@pytest.fixture
def home(tmp_path):
    """A folder as a person has it: the racks' readings, and those of a visit to come."""
    write_folder(exposure(21), tmp_path / "racks")
    write_folder(exposure(24, bad=BAD), tmp_path / "visit")
    typed("load", "racks", "--store", "trial.sqlite", cwd=tmp_path)
    return tmp_path


@pytest.mark.parametrize("width", [1280, pytest.param(390, marks=pytest.mark.slow)])
def test_a_claim_is_made_and_the_visit_that_shakes_it_shows(browser, home, width):
    store = home / "trial.sqlite"
    with serving("trial.sqlite", cwd=home) as address:
        walk = Walk(browser, address, width, home)
        walk.open()
        walk.at(ways_words.WAYS_HEADING)
        walk.step("ways")

        walk.go(ways_words.HOLDING, ways_words.HOLDING)
        walk.step("nothing_claimed")
        walk.go(claim_words.NEW, claim_words.NEW)
        walk.pick(case_words.FORMULATION, "B4")
        walk.step("what_may_be_claimed")
        offered = walk.figures()[case_words.VALUE]
        walk.press(case_words.RECORD)
        assert case_words.REFUSED in walk.text()
        walk.step("no_name_given")
        walk.fill("Who decides", "Ada")
        walk.press(case_words.RECORD)
        walk.at(claim_words.CLAIM)
        walk.step("claim")
        (claim,) = claims(open_source(store))
        assert (claim.formulation, claim.made_by, claim.basis) == ("B4", "Ada", "projected")
        assert f"{claim.value:.2f}" == offered == walk.figures()[claim_words.CLAIMED]
        assert walk.figures()[claim_words.STATE] == "Holds"
        assert claim.wording in walk.text()

        walk.press(claim_words.PREPARE)
        walk.step("dossier")
        taken = [walk.save(label, home) for label, _ in claim_words.PAPERS.values()]
        assert taken[0].read_bytes().startswith(b"%PDF")
        assert claim.evidence_digest in taken[1].read_text(encoding="utf-8")

        typed("load", "visit", "--store", "trial.sqlite", cwd=home)
        walk.menu(ways_words.SECTIONS["claim"], ways_words.HOLDING)
        walk.step("shaken")
        (now,) = watch(open_source(store))
        assert now.state == "at risk"
        assert walk.figures() == {"Broken": "0", "At risk": "1", "Cannot tell": "0", "Holds": "0"}
        assert f"Fails with probability {now.probability_failing:.2f}" in walk.text()
        walk.go(claim_words.OPEN_CLAIM, claim_words.CLAIM)
        walk.step("claim_at_risk")
        assert walk.figures()[claim_words.NOW] == f"{now.estimate:.3f}"
        assert walk.figures()[claim_words.MARGIN] == f"{now.margin:+.3f}"
        walk.menu(ways_words.SECTIONS["claim"], ways_words.HOLDING)
        walk.go(hold_words.ALL, claim_words.CLAIMS)
        walk.step("watch_list")
        assert walk.text().index(claim_words.TROUBLE_HEADING) < walk.text().index("At risk: B4")

    told = typed("watch", "trial.sqlite", cwd=home, code=1)
    assert f"{claim.claim} at risk" in " ".join(told.split())
    again = home / "again.pdf"
    typed("dossier", "trial.sqlite", claim.claim, "--out", again, cwd=home)
    assert again.read_bytes() == taken[0].read_bytes()
