from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from aging.claims import examine, propose, sentences
from aging.claims.words import CAUTIONS, SENTENCES, WORDS
from aging.errors import CallError
from aging.vocabulary import CLAIM_BASES


def found(text):
    return [one.found for one in examine(text)]


@pytest.mark.parametrize("text", [
    "self-cleaning", "Self Cleaning", "SELFCLEANING", "self\u2011cleaned", "self\ncleans",
    "dirt-proof", "stays white", "stay bright", "never needs cleaning", "maintenance-free",
    "rated", "certified", "Certification", "approved", "eco-friendly", "environmentally friendly",
    "green roofs", "energy savings", "cuts cooling", "energy bills", "up to 40 %",
    "up to forty percent", "insulates", "R-value", "3 years in 3 days", "proven", "guaranteed",
    "warranties", "whiter than", "outperforms", "best-in-class", "lasts 10 years", "long-lasting",
    "3-year aged", "three year aged", "aged SR 0.68",
])  # fmt: skip
def test_an_expression_is_seen_in_its_variants(text):
    (hit,) = examine(f"Our coating: {text}, they say.") or [None]
    assert hit is not None, text
    assert hit.start >= len("Our coating: ")
    assert hit.reason
    assert hit.safer


def test_places_are_those_of_the_text():
    text = "It stays white. Rated 0.68!\nNo. Self-cleaning."
    hits = examine(text)
    assert [text[one.start : one.end] for one in hits] == ["stays white", "Rated", "Self-cleaning"]
    assert [one.found for one in hits] == ["stays white", "Rated", "Self-cleaning"]


@pytest.mark.parametrize("text", [
    "This is not a rating.", "It is not yet certified.", "never rated",
    "Rated 0.68, rating id R-20451 of the body, 2026-05-01.",
    "Certified under certificate no. 2026-118.", "whiter than our own control",
    "measured three-year aged reflectance 0.66", "Coatings were separated and integrated.",
    "The generated table lists the panels.", "evergreen trees stood near the rack",
    "projected 36-month solar reflectance of at least 0.63 at 3 sites, unwashed",
])  # fmt: skip
def test_honest_words_pass(text):
    assert found(text) == []


def test_an_identifier_excuses_its_own_sentence_only():
    assert found("S0H30 is rated 0.68 since 2026-05-01.") == ["rated"]
    assert found("Rating no. R-20451. This colour is rated too.") == ["rated"]


@pytest.mark.parametrize("basis", CLAIM_BASES)
def test_our_own_sentences_pass_our_own_check(evidence, basis):
    rating = "R-20451 of the rating body, 2026-05-01"
    proposal = replace(propose(evidence, "A8", "projected"), basis=basis)
    told = sentences(proposal, rating=rating)
    assert told
    for text in told:
        assert "{" not in text
        assert "nan" not in text
        assert "A8" in text
        assert f"{proposal.value:.2f}" in text
        assert found(text) == []
    assert found(CAUTIONS[0]) == []


def test_sentences_say_what_is_known(evidence):
    text = sentences(propose(evidence, "A8", "substantiated"))[0]
    assert "projected 36-month solar reflectance" in text
    assert "COAST, DESERT, TOWN" in text
    assert "24 months of unwashed readings of 9 panels" in text
    hot = propose(replace(evidence, fit=evidence.fit.told_as("surface_temperature")), "A8",
                  "internal")  # fmt: skip
    assert "at most" in sentences(hot)[0]
    index = propose(replace(evidence, fit=evidence.fit.told_as("sri")), "A8", "projected")
    assert f"solar reflectance index of at least {index.value:.0f} " in sentences(index)[0]


def test_no_value_no_sentence_and_no_rating_without_identifier(evidence):
    proposal = propose(evidence, "A8", "projected")
    assert sentences(replace(proposal, value=np.nan)) == ()
    with pytest.raises(CallError, match="identifier"):
        sentences(replace(proposal, basis="rated"))


def test_the_tables_are_complete():
    assert set(SENTENCES["basis"]) == set(CLAIM_BASES)
    assert (WORDS[["expression", "reason", "safer"]] != "").all(axis=None)
    assert not WORDS["expression"].duplicated().any()
