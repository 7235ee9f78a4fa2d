"""One claim: its words, whether it holds, what stands behind it, what may be said now."""

from __future__ import annotations

import streamlit as st

from dashboard import claim_words as wording
from dashboard import claims, claims_parts, entry, keeping, parts, state
from dashboard import claims_case_words as case_words


def withdrawal(name: str) -> None:
    """A form that ends the claim."""
    with st.expander(wording.WITHDRAW), st.form(f"withdraw {name}"):
        left, right = st.columns(2)
        reason = left.text_input(wording.REASON, key=f"why {name}")
        by = keeping.by(right, f"by {name}")
        if st.form_submit_button(wording.WITHDRAW, key=f"withdraw it {name}"):
            keeping.store(lambda: claims.withdraw(opened, name, reason=reason, by=by), by)


opened = parts.source_or_help()
st.title(wording.CLAIM)
claims_parts.need_store(opened)
keeping.done()
with parts.explained():
    each = {one.claim.claim: one for one in claims.watched(opened)}
if not each:
    st.text(wording.NONE_YET)
    st.page_link("views/claim_new.py", label=wording.NEW)
    st.stop()
wanted = st.query_params.get("claim")
if wanted and wanted not in each:
    st.text(wording.NO_SUCH + wanted)
over, order = claims.ends(opened), claims.listed(opened)["claim"].tolist()
chosen = state.choose(
    "claim", wording.WHICH, order, default=order[0],
    show=lambda name: wording.option(each[name], over.get(name)),
)  # fmt: skip
one, end = each[chosen], over.get(chosen)
claim = one.claim

st.text(wording.subject(claim))
parts.figures(wording.figures(one, end))
st.text(wording.how_it_stands(one) if end is None else wording.as_ended(one, end))
claims_parts.cautions()
st.header(wording.WORDS_HEADING)
st.code(claim.wording, language=None, wrap_lines=True)
st.text(wording.made(claim))
claims_parts.papers(opened, chosen)
if end is None and entry.may("claim"):
    withdrawal(chosen)

with parts.explained():
    rated = claim.value if claim.basis == "rated" else None
    case = claims.case(opened, claim.formulation, claim.property, claim.months, claim.basis,
                       rated=rated, rating=claim.rating)  # fmt: skip
    value = None if claim.criterion else claim.value
    st.header(wording.CHART_HEADING)
    if end is None and (turn := claims.turned(opened, one)):
        st.text(wording.turned(one, turn))
    claims_parts.chart(opened, claim.formulation, claim.property, claim.months, value)
st.text(case_words.bound(case.proposal))
if differ := wording.other_sites(claim, case.proposal.sites):
    st.text(differ)
st.header(case_words.GATES_HEADING)
claims_parts.checklist(case)
st.header(case_words.SENTENCES_HEADING)
claims_parts.sayings(
    case.of_criterion(claim.criterion) if claim.criterion else case.sentences, claim.basis
)
claims_parts.criteria(case)
