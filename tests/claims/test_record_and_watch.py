"""A claim through its life: made on a store, watched at later visits, met by its reading, ended."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from claim_campaign import campaign
from scipy import stats

from aging.claims import (
    assess,
    claims,
    make,
    propose,
    report_card,
    sentences,
    standing,
    watch,
    watch_line,
)
from aging.claims.criteria import named, verdicts
from aging.claims.record import withdraw
from aging.claims.watch import _to_break, next_visit
from aging.errors import CallError, LedgerError
from aging.ledger import open_ledger
from aging.projection import fit


@pytest.fixture
def store(tmp_path, exposure):
    with open_ledger(tmp_path / "aging.sqlite", create=True) as ledger:
        ledger.append(exposure, by="Ada", source="a folder")
        yield ledger


def claimed(store, evidence, **more):
    """The proposed value of A8, recorded."""
    proposal = replace(propose(evidence, "A8", "substantiated"), **more)
    gates = assess(evidence, "A8", "substantiated")
    return make(store, proposal, gates, sentences(proposal)[0], revision=1, by="Zoë")


def test_a_claim_comes_back_as_made_with_its_evidence(store, evidence):
    digest = store.verify().head
    one = claimed(store, evidence)
    (back,) = claims(store.read())
    assert back == one
    assert (back.evidence_revision, back.evidence_digest) == (1, digest)
    assert back.sites == ("COAST", "DESERT", "TOWN")
    assert standing(store.read()) == (one,)
    assert store.verify().whole


def test_a_gate_that_fails_refuses_all_but_an_internal_claim(store, evidence):
    lacking = replace(evidence, changes=None)
    gates = assess(lacking, "A8", "projected")
    proposal = propose(evidence, "A8", "projected")
    with pytest.raises(CallError, match=r"as projected: formula: not known.*load the readings"):
        make(store, proposal, gates, "words", revision=1, by="Zoë")
    internal = propose(evidence, "A8", "internal")
    assert make(store, internal, gates, "words", revision=1, by="Zoë").basis == "internal"
    with pytest.raises(CallError, match="no value"):
        make(store, replace(internal, value=np.nan), gates, "words", revision=1, by="Zoë")
    with pytest.raises(CallError, match="revision"):
        make(store, internal, gates, "words", revision=9, by="Zoë")


def test_words_to_avoid_are_not_recorded(store, evidence):
    with pytest.raises(CallError, match=r"wording: 'stays white'.*write reads at least"):
        make(store, propose(evidence, "A8", "internal"), (), "It stays white.", revision=1, by="Z")


def test_a_claim_speaks_of_its_own_sites(store, evidence):
    claimed(store, evidence, sites=("COAST",))
    claimed(store, evidence, sites=("COAST", "MOON"))
    coast, gone = watch(store.read(), fits={"solar_reflectance": evidence.fit})
    drawn = evidence.fit.draws([36.0])["COAST", "A8"]["reading"][0]
    assert coast.estimate == pytest.approx(np.median(drawn))
    assert (gone.state, gone.why) == ("cannot tell", "no readings of it at MOON")


def test_withdrawn_and_replaced_once(store, evidence):
    first = claimed(store, evidence)
    proposal = propose(evidence, "A8", "internal")
    second = make(store, proposal, (), "lower", revision=1, by="Zoë", replaces=first.claim,
                  reason="a new visit")  # fmt: skip
    assert [one.claim for one in standing(store.read())] == [second.claim]
    assert store.read().claim_ends["replaced_by"].tolist() == [second.claim]
    with pytest.raises(CallError, match="claim"):
        withdraw(store, first.claim, reason="again", by="Zoë")
    with pytest.raises(CallError, match="reason"):
        withdraw(store, second.claim, reason=" ", by="Zoë")
    withdraw(store, second.claim, reason="no longer sold", by="Zoë")
    assert standing(store.read()) == ()
    assert len(claims(store.read())) == 2


def test_no_claim_on_an_altered_store(store, evidence):
    with store._store.engine.connect() as conn:  # noqa: SLF001
        conn.exec_driver_sql("DROP TRIGGER readings_append_only_update")
        conn.exec_driver_sql("UPDATE readings SET value = 0.9 WHERE id = 3")
        conn.commit()
    with pytest.raises(LedgerError, match="altered"):
        claimed(store, evidence)


def test_holds_at_risk_and_broken_as_the_value_rises(store, evidence):
    estimate = propose(evidence, "A8", "substantiated").estimate
    for value in (estimate - 0.1, estimate - 0.005, estimate + 0.03):
        claimed(store, evidence, value=round(value, 2))
    known = store.read()
    held, risky, broken = watch(known, fits={"solar_reflectance": evidence.fit})
    assert [one.state for one in (held, risky, broken)] == ["holds", "at risk", "broken"]
    assert held.probability_failing < 0.1 < risky.probability_failing < 0.5
    assert held.margin == pytest.approx(held.estimate - held.claim.value)
    assert held.moved == pytest.approx(0, abs=1e-9)
    assert held.distance > held.margin
    assert held.distance > risky.distance > broken.distance == 0
    assert held.sigmas == pytest.approx(held.distance / risky.distance * risky.sigmas)
    assert held.next_months == 27
    for one, state in ((held, "holds"), (risky, "at risk"), (broken, "broken")):
        said = f"{one.claim.claim} {state}: A8, solar reflectance at least {one.claim.value:.2f} at"
        line = watch_line(one)
        assert line.startswith(f"{said} 36 months, mean of COAST, DESERT, TOWN; fails with prob")
        assert "rating" not in line
    assert f"it breaks if the mean at month 27 reads {held.breaks_at:.3f}" in watch_line(held)
    assert "breaks if" not in watch_line(broken)
    assert held.sigmas > 3
    assert watch_line(held).endswith("off what is expected, or nearer.")
    near = replace(held, sigmas=2.9)
    assert watch_line(near).endswith("(2.9 standard deviations) off what is expected.")
    strict = watch(known, at_risk=0.001, fits={"solar_reflectance": evidence.fit})
    assert strict[0].state in {"holds", "at risk"}
    assert strict[1].state == "at risk"


def test_a_visit_that_reads_where_it_was_told_breaks_the_claim(store, evidence):
    """Readings put at `breaks_at` bring the projection near the claimed value."""
    claimed(
        store, evidence, value=round(propose(evidence, "A8", "substantiated").estimate - 0.006, 2)
    )
    (told,) = watch(store.read(), fits={"solar_reflectance": evidence.fit})
    later = campaign(30).readings
    last = later[later["reading_id"].str.endswith("-24")].copy()
    expected = fit_mean(evidence.fit, told.next_months)
    shift = told.breaks_at - expected
    new = last.assign(read_on="2024-06-01", reading_id=last["reading_id"] + "x")
    new["value"] += shift + expected - last.loc[last["panel"].str.contains("A8"), "value"].mean()
    known = replace(campaign(24), readings=pd.concat([campaign(24).readings, new]))
    moved = fit(known).project([36.0]).frame.query(
        "site == 'all' and formulation == 'A8' and target == 'reading'"
    )["estimate"].item()  # fmt: skip
    before = told.estimate - told.claim.value
    assert abs(moved - told.claim.value) < 0.6 * before


def fit_mean(fitted, month):
    frame = fitted.project([month]).frame
    return frame.query("site == 'all' and formulation == 'A8' and target == 'reading'")[
        "estimate"
    ].item()


def test_the_reading_decides_and_the_report_card_counts(store, evidence):
    good = claimed(store, evidence)
    bad = claimed(store, evidence, value=0.85)
    withdraw(store, bad.claim, reason="a slip", by="Zoë")
    store.append(campaign(36), by="Ada", source="a folder")
    known = store.read()
    fits = {"solar_reflectance": fit(known)}
    (told,) = watch(known, fits=fits)
    mean = known.readings.query("panel.str.contains('A8') and reading_id.str.endswith('-36')")
    site = mean["panel"].str.split("-").str[0]
    assert told.measured == pytest.approx(mean.groupby(site)["value"].mean().mean())
    assert (told.state, told.claim) == ("holds", good)
    assert watch_line(told).endswith(f"; measured around month 36: {told.measured:.3f}.")
    card, sentence = report_card(known, fits=fits)
    assert card.set_index("claim")["right"].to_dict() == {good.claim: True, bad.claim: False}
    assert sentence.startswith("1 of 2")
    assert card["given_away"].tolist() == pytest.approx([told.margin, told.measured - 0.85])


def test_a_claim_of_retention_is_watched_before_its_month(store, evidence):
    """By then no reading of the month is there to divide by the one when new."""
    proposal = propose(evidence, "A8", "internal", retention=True)
    make(store, proposal, (), "words", revision=1, by="Zoë")
    (told,) = watch(store.read(), fits={"solar_reflectance": evidence.fit})
    assert told.state == "holds"
    assert told.estimate == pytest.approx(proposal.estimate)
    assert "A8, solar reflectance retention at least 0." in watch_line(told)


def test_ended_claims_are_told_where_they_are_asked_for(store, evidence):
    one = claimed(store, evidence)
    withdraw(store, one.claim, reason="a slip", by="Zoë")
    fits = {"solar_reflectance": evidence.fit}
    assert watch(store.read(), fits=fits) == ()
    assert [told.claim for told in watch(store.read(), fits=fits, ended=True)] == [one]


def test_nothing_read_since_is_said(store, evidence):
    claimed(store, evidence)
    card, sentence = report_card(store.read(), fits={"solar_reflectance": evidence.fit})
    assert card.empty
    assert "No claim" in sentence


def test_a_claim_that_a_criterion_is_met(store, evidence):
    rows = verdicts(evidence.fit, "A8")
    row = rows[rows["verdict"] == "met"].iloc[0]
    proposal = propose(evidence, "A8", "substantiated")
    make(store, proposal, (), "meets it", revision=1, by="Zoë", criterion=named(row))
    make(store, proposal, (), "meets it", revision=1, by="Zoë", criterion="a code of long ago")
    met, gone = watch(store.read(), fits={"solar_reflectance": evidence.fit})
    assert met.state == "holds"
    assert met.probability_failing == pytest.approx(1 - row["probability"])
    assert np.isnan(met.claim.value)
    assert f"{met.claim.claim} holds: A8 meets {named(row)} at 36 months; " in watch_line(met)
    assert (gone.state, gone.why) == ("cannot tell", "its criterion is no longer in the table")


def test_the_plan_names_the_next_visit():
    plan = pd.DataFrame({"months": [12.0, 24.0, 30.0, 36.0]})
    assert next_visit(plan, 24.1, 36) == 30
    assert next_visit(plan[:0], 24.1, 36) == 27
    assert next_visit(plan, 35.0, 36) == 36


@pytest.mark.parametrize("better", [1, -1])
def test_the_break_lies_where_the_line_of_the_claimed_month_on_the_next_meets_the_value(better):
    other = 0.80 + 0.02 * stats.norm.ppf((np.arange(4000) + 0.5) / 4000)
    rest = np.random.default_rng(8).permutation(other - 0.80) / 2
    final = 0.30 + 0.5 * other + rest  # on the line 0.30 + 0.5 N, and as far off it as along it
    value = 0.70 - better * 0.015
    breaks, distance, sigmas = _to_break(final, other, value, better)
    assert 0.30 + 0.5 * breaks == pytest.approx(value, abs=0.002)
    assert distance == pytest.approx(0.03, rel=0.05)
    assert sigmas == pytest.approx(1.5, rel=0.05)
