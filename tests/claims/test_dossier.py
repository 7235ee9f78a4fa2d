"""A dossier holds the claim as recorded and as its evidence gives it, for good, in equal bytes."""

from __future__ import annotations

import functools
import hashlib
import io
import json
import re
import shutil
import subprocess
import time
import zipfile
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from claim_campaign import START, campaign

from aging.claims import (
    dossier,
    dossier_html,
    dossier_pdf,
    evidence_of,
    evidence_pack,
    make,
    propose,
    sentences,
    verdicts,
)
from aging.claims.criteria import named
from aging.claims.dossiers import case
from aging.claims.evidence import evidence_at
from aging.cli import app
from aging.errors import CallError, LedgerError
from aging.ledger import open_ledger
from aging.records import exposure_with

NASTY = "<b>#strong[x]</b> $y$ שלום 白"
LONG = "A-very-long-name-of-a-site-that-nobody-would-choose-0123456789"
FORMULA = '=HYPERLINK("https://example.invalid")'


def stored(months=24):
    """The invented campaign with a wash, a laboratory soiling, emittance, and texts that test."""
    known, day = campaign(months), START + pd.Timedelta(days=400)
    more = exposure_with("readings", [
        {"panel": f"COAST-A8-{number}", "read_on": f"{day:%Y-%m-%d}", "value": value,
         "property": name, "surface_state": state, "evidence": evidence, "instrument": "SR-1",
         "unit": "fraction", "weighting": weighting, "remark": FORMULA,
         "reading_id": f"{name}-{state}-{evidence}-{number}"}
        for number in (1, 2, 3)
        for name, value, state, evidence, weighting in (
            ("solar_reflectance", 0.60 + number / 100, "as_exposed", "laboratory_soiling",
             "G173 global tilt"),
            ("solar_reflectance", 0.80, "washed", None, "G173 global tilt"),
            ("thermal_emittance", 0.90, "as_exposed", None, None),
        )
    ]).readings  # fmt: skip
    events = exposure_with("events", [
        {"on": f"{day:%Y-%m-%d}", "kind": "dust", "site": "COAST", "remark": NASTY}
    ]).events  # fmt: skip
    sites = known.sites.assign(name=["Coast", LONG, NASTY])
    readings = pd.concat([known.readings, more], ignore_index=True)
    return replace(known, readings=readings, events=events, sites=sites)


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    path = tmp_path_factory.mktemp("dossier") / "aging.sqlite"
    with open_ledger(path, create=True) as book:
        book.append(stored(), by="Ada", source="a folder")
        book.correct("COAST-A8-1-12", 0.61, by="Ada", reason="read the wrong panel")
    return str(path)


@pytest.fixture(scope="module")
def known(store):
    return evidence_of(store, back_test=False)


@pytest.fixture(scope="module")
def record(store, known):
    """Records a claim on a basis and returns it."""

    def recorded(basis, *, told_as="solar_reflectance", months=36.0, more="", criterion="", **kind):
        found = replace(known, fit=known.fit.told_as(told_as))
        rated = {"rated": 0.7} if basis == "rated" else {}
        proposal = propose(found, "A8", basis, months, **kind, **rated)
        rating = "AB-1234, a body, 2026-05-02" * bool(rated)
        words = sentences(proposal, rating=rating)[0] + more
        with open_ledger(store) as book:
            return make(book, proposal, (), words, revision=known.revision, by="Zoë",
                        rating=rating, criterion=criterion)  # fmt: skip

    return functools.cache(recorded)


@pytest.fixture(scope="module")
def first(record):
    return record("substantiated", more=f" {NASTY}")


@pytest.fixture(scope="module")
def alone(store, first, tmp_path_factory):
    """A copy of the store from when the first claim was its only one."""
    path = tmp_path_factory.mktemp("alone") / "alone.sqlite"
    with open_ledger(store) as book:
        assert book.read(only=("claims",)).claims["claim"].tolist() == [first.claim]
        book.backup(path)
    return path


@pytest.fixture(scope="module")
def claim(record, alone):
    """Records further claims."""
    assert alone.exists()
    return record


@pytest.fixture(scope="module")
def made(store, first):
    """The whole way once: the claim, its dossier, its PDF."""
    found = dossier(store, first.claim)
    return first, found, dossier_pdf(found)


@pytest.fixture
def fitted_once(monkeypatch):
    """Fits each revision and property once."""
    quick = functools.partial(evidence_at, back_test=False)
    kept = functools.cache(lambda label, revision, name: quick(open_ledger(label), revision, name))
    monkeypatch.setattr(case, "evidence_at", lambda book, revision, name, **_: kept(
        book.label, revision, name))  # fmt: skip


def section(found, title):
    return next(one for one in found.sections if one.title == title)


def read_pdf(data, tmp_path, *options):
    if shutil.which("pdftotext") is None:
        pytest.skip("no poppler")
    (tmp_path / "a.pdf").write_bytes(data)
    command = ["pdftotext", "-layout", *options, tmp_path / "a.pdf", "-"]
    text = subprocess.run(command, capture_output=True, check=True, text=True).stdout
    return " ".join(text.replace("\u200b", "").split())


def test_it_tells_the_claim_as_recorded_and_made_again(made, known):
    one, found, _ = made
    assert found.claim == one
    value = section(found, "How the value follows")
    assert "the value is the same" in " ".join(value.lines)
    assert value.rows[0] == ("Value", f"{one.value:.2f}", f"{one.value:.2f}")
    drawn = known.fit.draws([36.0])
    mean = np.mean([drawn[site, "A8"]["reading"][0] for site in one.sites], axis=0)
    assert found.fan.claimed == one.value
    low, high = np.quantile(mean, [0.05, 0.95])
    assert f"(90 % interval {low:.3f} to {high:.3f})" in found.fan.statement
    at = found.fan.curve.query("months == 36 and target == 'reading' and level == 0.9")
    assert at["lower"].item() == pytest.approx(low)
    assert any("not a rating" in line for line in found.cautions)
    assert dict(found.evidence)["Digest"] == one.evidence_digest


def test_every_reading_has_its_standing_and_reason(made):
    _, found, _ = made
    rows = found.readings.set_index("reading_id")
    assert rows.loc["COAST-A8-1-12", ["standing", "why"]].tolist() == [
        "corrected", "corrected to COAST-A8-1-12~2: read the wrong panel"]  # fmt: skip
    assert rows.loc["COAST-A8-1-12~2", "rests_on_it"]
    lab = rows[rows["evidence"] == "laboratory_soiling"]
    assert set(lab["why"]) == {"laboratory, not outdoors"}
    assert not lab["rests_on_it"].any()
    washed = rows[rows["surface_state"] == "washed"]
    assert set(washed["standing"]) == {"washed series"}
    counted = rows[(rows["standing"] == "counts") & (rows["property"] == "solar_reflectance")]
    assert len(counted) == 2 * 3 * 3 * 10
    assert rows["rests_on_it"].sum() == 3 * 3 * 10
    told = section(found, "Exclusions and corrections")
    assert any("COAST-A8-1-12~2" in cell for row in told.rows for cell in row)


def test_made_again_after_later_readings_it_has_the_same_bytes(alone, made):
    one, _, pdf = made
    with open_ledger(alone) as book:
        book.append(stored(36), by="Ada", source="a later folder")
        book.correct("COAST-A8-2-12", 0.3, by="Ada", reason="a later slip")
    again = dossier(str(alone), one.evidence_digest)
    assert dossier_pdf(again) == pdf
    assert evidence_pack(again) == evidence_pack(made[1])
    assert dossier_html(again) == dossier_html(made[1])


def test_an_altered_store_gives_none_and_says_where(store, made, tmp_path):
    one, path = made[0], tmp_path / "altered.sqlite"
    with open_ledger(store) as book:
        book.backup(path)
    with open_ledger(path) as book, book._store.engine.connect() as conn:  # noqa: SLF001
        conn.exec_driver_sql("DROP TRIGGER readings_append_only_update")
        conn.exec_driver_sql("UPDATE readings SET value = 0.9 WHERE id = 3")
        conn.commit()
    with pytest.raises(LedgerError, match=r"altered.*batch 1 .*by Ada.*readings: its \d+ rows"):
        dossier(str(path), one.claim)


def test_another_chain_behind_the_same_claim_is_refused(store, made, tmp_path):
    """A store whose readings differ and that was sealed whole: only the claim's digest tells."""
    one, path = made[0], tmp_path / "other.sqlite"
    with open_ledger(store) as book:
        theirs = book.read(only=("claims",))
    with open_ledger(path, create=True) as book:
        book.append(campaign(24), by="Ada", source="a folder")
        book.correct("COAST-A8-1-12", 0.7, by="Ada", reason="better")
        book.append(theirs, by="Ada", source="claims of another store")
        assert book.verify().whole
    with pytest.raises(LedgerError, match=f"revision 2 the digest is .*{one.evidence_digest}"):
        dossier(str(path), one.claim)


def test_a_claim_is_named_by_one_id_or_one_digest(store, made, claim, tmp_path):
    claim("internal")
    with pytest.raises(CallError, match="one claim by its id"):
        dossier(store, made[0].evidence_digest)
    with pytest.raises(CallError, match=f"'nothing'.*{made[0].claim}"):
        dossier(store, "nothing")
    with pytest.raises(CallError, match="a store"):
        dossier(str(tmp_path), made[0].claim)


def test_the_pdf_is_tagged_and_holds_words_and_value(made, tmp_path):
    one, found, pdf = made
    assert pdf == dossier_pdf(found)
    text = read_pdf(pdf, tmp_path)
    assert one.wording.split(" שלום")[0] in text
    assert "[U+767D]" in text  # no font of the printer has the letter, so it says which it is
    assert one.evidence_digest in text
    assert LONG in re.sub(r"\s", "", read_pdf(pdf, tmp_path, "-raw"))
    info = subprocess.run(
        ["pdfinfo", tmp_path / "a.pdf"], capture_output=True, check=True, text=True
    )
    assert re.search(r"Tagged: +yes", info.stdout)
    assert found.title in info.stdout
    assert b"pdfuaid" in pdf
    assert b"/Lang" in pdf
    tags = subprocess.run(["pdfinfo", "-struct", tmp_path / "a.pdf"], capture_output=True,
                          check=True, text=True).stdout  # fmt: skip
    assert {"H1", "Table", "TH", "Figure", "L"} <= set(re.findall(r"^ *(\w+)", tags, re.MULTILINE))


def test_the_page_asks_for_nothing_and_runs_nothing(made):
    page = dossier_html(made[1])
    assert "default-src 'none'" in page
    assert "<script" not in page
    outside = re.findall(r"""(?:src|href)\s*=\s*["'](?!#)[^"']*|url\([^)#]*""", page)
    assert outside == []
    assert "&lt;b&gt;#strong[x]&lt;/b&gt; $y$ שלום 白" in page
    assert LONG in page.replace("<wbr>", "")


def test_the_pack_verifies_and_runs_nothing_in_a_spreadsheet(made, tmp_path):
    one, found, _ = made
    packed = evidence_pack(found)
    with zipfile.ZipFile(io.BytesIO(packed)) as files:
        files.extractall(tmp_path)
        assert {entry.date_time for entry in files.infolist()} == {(1980, 1, 1, 0, 0, 0)}
    for line in (tmp_path / "SHA256SUMS").read_text().splitlines():
        digest, name = line.split("  ")
        assert hashlib.sha256((tmp_path / name).read_bytes()).hexdigest() == digest
    checked = subprocess.run(["sha256sum", "-c", "SHA256SUMS"], cwd=tmp_path, capture_output=True,
                             check=True, text=True).stdout  # fmt: skip
    assert checked.count(": OK") == 5
    rows = pd.read_csv(tmp_path / "readings.csv")
    assert set(rows["remark"].dropna()) == {f"'{FORMULA}"}
    assert len(rows) == len(found.readings)
    kept = json.loads((tmp_path / "claim.json").read_text())
    assert kept["claim"]["wording"] == one.wording
    assert kept["made_again"]["value"] == one.value
    with xr.open_dataset(tmp_path / "draws.nc", engine="h5netcdf") as draws:
        mean = (
            draws["solar_reflectance"]
            .sel(target="reading", months=36, formulation="A8")
            .mean("site")
        )
        bound = float(mean.quantile(0.05))
        assert draws["formulation"].to_numpy().tolist() == ["A8", "A0"]
    assert np.floor(100 * bound) / 100 == one.value


BASES = {
    "measured": {"basis": "measured", "months": 24.0},
    "retention": {"basis": "projected", "retention": True},
    "retention measured": {"basis": "measured", "months": 24.0, "retention": True},
    "sri": {"basis": "projected", "told_as": "sri"},
    "temperature": {"basis": "projected", "told_as": "surface_temperature"},
    "laboratory": {"basis": "laboratory-aged"},
    "default": {"basis": "default formula"},
    "rated": {"basis": "rated"},
}


@pytest.mark.parametrize("kind", BASES)
@pytest.mark.usefixtures("fitted_once")
def test_every_basis_has_its_dossier(kind, store, claim):
    one = claim(**BASES[kind])
    found = dossier(store, one.claim)
    text = " ".join(" ".join(part.lines) for part in found.sections)
    assert ("the value is the same" in text) == (kind != "rated")
    assert found.proposal.value == one.value
    rests = found.readings[found.readings["rests_on_it"]]
    count = {"measured": 9, "retention measured": 18, "laboratory": 3, "default": 9, "rated": 0}
    assert len(rests) == count.get(kind, 90)
    assert ("Criteria of programmes" in {part.title for part in found.sections}) == (
        "retention" not in kind)  # fmt: skip
    if kind == "retention":
        assert found.fan.readings["value"].max() < 1.1
        assert "solar_reflectance_retention" in found.draws
    if kind == "sri":
        assert found.fan.readings["value"].max() > 90
        assert "sri" in found.draws


@pytest.mark.usefixtures("fitted_once")
def test_a_criterion_is_told_with_its_probability(store, claim, known):
    rows = verdicts(known.fit, "A8")
    row = rows[(rows["verdict"] == "met") & (rows["state"] == "aged")].iloc[0]
    one = claim("projected", criterion=named(row))
    found = dossier(store, one.claim)
    assert dict(found.facts)["Criterion claimed"] == named(row)
    assert found.fan.claimed is None
    mine = [
        line for line in section(found, "Criteria of programmes").rows if "(claimed)" in line[0]
    ]
    assert [line[-1] for line in mine] == [f"{row['probability']:.2f}"]
    pack = zipfile.ZipFile(io.BytesIO(evidence_pack(found)))
    assert json.loads(pack.read("claim.json"))["claim"]["value"] is None


@pytest.mark.usefixtures("fitted_once")
def test_a_value_that_the_evidence_does_not_carry_is_called_so(store, known):
    proposal = replace(propose(known, "A8", "internal"), value=0.8)
    with open_ledger(store) as book:
        one = make(book, proposal, (), "too high", revision=known.revision, by="Zoë")
    told = section(dossier(store, one.claim), "How the value follows")
    assert any(line.startswith("NOT CARRIED") for line in told.lines)


@pytest.mark.usefixtures("fitted_once")
def test_the_command_writes_what_its_file_is_called(store, claim, tmp_path, capsys):
    one = claim("internal")
    file = tmp_path / "claim.zip"
    assert app(["dossier", store, one.claim, "--out", str(file)]) == 0
    assert zipfile.is_zipfile(file)
    assert f"wrote {file}: Claim {one.claim}" in capsys.readouterr().out.replace("\n", "")
    assert app(["dossier", store, one.claim, "--out", str(tmp_path / "a.txt")]) == 2


@pytest.mark.bench
def test_a_pdf_takes_less_than_two_seconds_after_the_fit(made):
    start = time.perf_counter()
    dossier_pdf(made[1])
    assert time.perf_counter() - start < 2
