"""Make a claim: choose what it is about, see what the readings allow, pick the words, record it."""

from __future__ import annotations

import streamlit as st

from aging.claims import examine
from aging.errors import AgingError
from aging.vocabulary import CLAIM_BASES, property_named
from dashboard import claim_words as wording
from dashboard import claims, claims_parts, data, entry, keeping, parts, state, tables
from dashboard import claims_case_words as case_words


def offered() -> list[str]:
    """Properties with a better side, and the retention of those that have one."""
    names = tables.properties(data.readings(opened))
    known = [property_named(name) for name in names]
    known = [one for one in known if one.higher_is_better is not None]
    ratio = [one for one in known if one.scale == "ratio" and one.higher_is_better]
    return [one.name for one in known] + [one.name + claims.RETENTION for one in ratio]


def rating() -> tuple[float | None, str]:
    """What a body issued; the page ends until it is entered."""
    left, right = st.columns(2)
    value = left.number_input(case_words.RATED_VALUE, value=None, format="%.2f", key="rated value")
    told = right.text_input(case_words.RATING, key="rating")
    if value is None or not told.strip():
        st.text(case_words.RATED_NEEDS)
        st.stop()
    return value, told


def record(case: claims.Case, criterion: str, picked: str | None, own: str) -> None:
    """Record what was shown, with the words and the name as they stand when the tap comes in."""
    kept = st.session_state
    by = entry.name() or kept.get("claims as", "")
    replaces = kept.get("replaces") or ""
    try:
        kept["claim made"] = claims.record(
            opened, case, kept.get(own, "") if picked is None else picked, by=by,
            criterion=criterion, replaces=replaces, reason=kept.get("why replaced", ""),
        )  # fmt: skip
    except AgingError as error:
        kept["claim refused"] = str(error)
    else:
        kept["decides"], kept["done"] = by, True


opened = parts.source_or_help()
st.title(wording.NEW)
claims_parts.need_store(opened)
if made := st.session_state.pop("claim made", None):
    st.switch_page("views/claim.py", query_params={"claim": made})

with parts.explained():
    names = offered()
    first, second, third, fourth = st.columns(4)
    with second:
        name = state.choose("property", case_words.PROPERTY, names, default=names[0],
                            show=wording.told)  # fmt: skip
    series = data.fitted(opened, claims.parts_of(name)[0]).series
    formulations = sorted({one.formulation for one in series})
    with first:
        formulation = state.choose("formulation", case_words.FORMULATION, formulations,
                                   default=formulations[0])  # fmt: skip
    with third:
        months = state.choose("months", case_words.MONTHS, parts.MONTHS, default=36)
    strongest = claims.strongest(opened, formulation, name, float(months))
    with fourth:
        basis = state.choose("basis", case_words.BASIS, CLAIM_BASES, default=strongest,
                             show=wording.BASES.__getitem__)  # fmt: skip
    rated, identifier = rating() if basis == "rated" else (None, "")
    case = claims.case(opened, formulation, name, float(months), basis,
                       rated=rated, rating=identifier)  # fmt: skip
proposal = case.proposal

st.text(wording.figures_are(name))
parts.figures(case_words.proposed(proposal))
st.text(case_words.bound(proposal))
claims_parts.cautions()
st.header(case_words.GATES_HEADING)
claims_parts.checklist(case)
claims_parts.criteria(case)

st.header(case_words.SENTENCES_HEADING)
met, criterion = case.met() if case.open else [], ""
if met:
    criterion = st.selectbox(case_words.CRITERION, ["", *met], key="criterion",
                             format_func=lambda one: one or case_words.NO_CRITERION)  # fmt: skip
told = case.of_criterion(criterion) if criterion else case.sentences
claims_parts.sayings(told, basis)
if not case.open:
    st.text(case_words.missing(proposal))
if not (case.open and entry.may("claim")):
    st.stop()
st.header(case_words.RECORD_HEADING)
ways = [*map(case_words.sentence, range(len(told))), case_words.OWN]
way = st.segmented_control(
    case_words.WORDING, ways, default=ways[0], required=True, key=f"wording {len(told)}"
)
own = f"own words {formulation} {name} {months} {basis} {criterion}"
picked = None if way == case_words.OWN else told[ways.index(way)]
if picked is None:
    text = st.text_area(case_words.OWN_TEXT, told[0] if told else "", key=own)
    claims_parts.hits(text, examine(text))
left, middle, right = st.columns(3)
keeping.by(left, "claims as")
others = claims.replaceable(opened, formulation)
if others:
    over = middle.selectbox(
        case_words.REPLACES, ["", *others], key="replaces",
        format_func=lambda one: others.get(one, case_words.REPLACES_NONE),
    )  # fmt: skip
    if over:
        right.text_input(case_words.REPLACES_WHY, key="why replaced")
st.button(case_words.RECORD, type="primary", key="record", on_click=record,
          args=(case, criterion, picked, own))  # fmt: skip
if told_off := st.session_state.pop("claim refused", ""):
    st.text(case_words.REFUSED + told_off)
