"""Whatever the files hold, reading ends in counted rows or in an AgingError, never in a crash.

INTAKE_EXAMPLES sets how many folders each test makes up (default 100); the slow test takes 10,000.
"""

from __future__ import annotations

import io
import os
import tempfile
import zipfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from aging import intake
from aging.errors import AgingError
from aging.intake import CODES
from aging.ledger import open_ledger
from aging.records import SHEETS
from aging.vocabulary import PROPERTIES

settings.register_profile(
    "intake",
    max_examples=int(os.environ.get("INTAKE_EXAMPLES", "100")),
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)
INTAKE = settings.get_profile("intake")

GOOD = {
    "panels": ["A1,F1,S1,2024-01-10", "A2,F1,S1,2024-01-10"],
    "readings": ["A1,2024-03-01,solar_reflectance,0.8", "A2,2024-03-01,gloss_60,12"],
}
READINGS = b"panel,read_on,property,value\nA1,2024-03-01,gloss_60,12\n"
PANELS = b"panel,formulation,site,exposed_on\nA1,F1,S1,2024-01-10\n"
ODD = [
    "", " ", "A1", "A2", "S1", "F1", "2024-03-01", "2024-03-01T10:30Z", "2024-02-30", "03/04/2025",
    "1.2.24", "9999-12-31", "0000-01-01", "0.8", "0,8", "1.234,5", "81.2", "-1", "1e999", "nan",
    "NA", "%", "um", "mil", "washed", "solar_reflectance", "chalking_astm", "7.5", '"', '""', 'a"b',
    "a;b", "a,b", "a\tb", "two\nlines", "\0", "\x1a", "\ufeff", "\u202eA1", "x" * 300, "=1+1", "μm",
    "control", "file_specimen", "r1", "1" * 400, "\r", "'", "True", "٣", "1_000", "0x10",
]  # fmt: skip
CELL = st.sampled_from(ODD) | st.text(max_size=6) | st.floats().map(str) | st.dates().map(str)
NAMES = sorted({name for sheet in SHEETS.values() for name in sheet.names})
HEADER = st.lists(st.sampled_from([*NAMES, "", "extra", "silica_wt_pct", "Value "]) | CELL,
                  min_size=1, max_size=12)  # fmt: skip
ENCODING = st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])


@st.composite
def table(draw, sheet):
    """A CSV file of a sheet: mostly its own columns, odd cells, now and then ragged."""
    own = [column.name for column in SHEETS[sheet].columns if column.required]
    more = draw(st.lists(st.sampled_from(SHEETS[sheet].names), max_size=6, unique=True))
    header = draw(st.just(list(dict.fromkeys(own + more))) | HEADER)
    rows = draw(st.lists(st.lists(CELL, min_size=len(header), max_size=len(header)), max_size=6))
    rows += draw(st.lists(st.lists(CELL, max_size=14), max_size=2))
    delimiter = draw(st.sampled_from([",", ";", "\t"]))
    lines = [
        header,
        *(row.split(",") for row in draw(st.sampled_from([GOOD.get(sheet, []), []]))),
        *rows,
    ]
    quote = draw(st.booleans())

    def written(cell):
        return '"' + cell.replace('"', '""') + '"' if quote else cell

    end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    text = end.join(delimiter.join(map(written, line)) for line in lines)
    return text.encode(draw(ENCODING), errors="replace")


def check(files):
    with tempfile.TemporaryDirectory() as place:
        return checked(written(files, place))


def written(files, place):
    (Path(place) / "weather").mkdir()
    for name, cells in files.items():
        (Path(place) / name).write_bytes(cells)
    return place


def checked(source):
    try:
        result = intake.read(source)
    except AgingError:
        return None
    kept = dict(result.exposure.frames())
    for tally in result.tallies:
        assert tally.rows == tally.accepted + tally.refused
        assert len(kept[tally.sheet]) >= tally.accepted
        if tally.sheet not in ("sites", "formulations"):
            assert len(kept[tally.sheet]) == tally.accepted
    refused = sum(tally.refused for tally in result.tallies)
    assert refused == 0 or result.blocked
    assert {finding.code for finding in result.findings} <= set(CODES)
    readings = result.exposure.readings
    assert readings["reading_id"].notna().all()
    assert readings["reading_id"].is_unique
    assert readings["panel"].isin(result.exposure.panels["panel"]).all()
    assert result.exposure.panels["panel"].is_unique
    for name, prop in PROPERTIES.items():
        assert (
            readings.loc[readings["property"] == name, "value"].between(prop.low, prop.high).all()
        )
    return result


def odd_sheet(sheet):
    """A folder whose other files are good."""
    name = "weather/S1.csv" if sheet == "weather" else f"{sheet}.csv"
    good = {"panels.csv": PANELS, "readings.csv": READINGS}
    return table(sheet).map(lambda cells: good | {name: cells})


ODD_SHEETS = st.sampled_from(list(SHEETS)).flatmap(odd_sheet)


@INTAKE
@given(ODD_SHEETS)
def test_an_odd_sheet_among_good_ones_is_counted_or_refused(files):
    check(files)


@pytest.mark.slow
@settings(INTAKE, max_examples=10_000)
@given(ODD_SHEETS)
def test_ten_thousand_odd_sheets_are_counted_or_refused(files):
    check(files)


@settings(INTAKE, max_examples=40)
@given(ODD_SHEETS)
def test_each_row_is_stored_or_refused_with_its_finding(files):
    with tempfile.TemporaryDirectory() as place:
        result = checked(written(files, place))
        if result is None:
            return
        with open_ledger(Path(place) / "aging.sqlite", create=True) as ledger:
            receipts = {
                one.sheet: one for one in ledger.append(result.exposure, by="A", source="b")
            }
            assert ledger.verify().rows == sum(one.stored for one in receipts.values())
    for tally in result.tallies:
        told = receipts[tally.sheet]
        assert told.rows >= tally.accepted
        assert told.rows == told.stored + told.already + told.refused
        assert told.refused == len(told.findings)


@INTAKE
@given(st.fixed_dictionaries(
    {"panels.csv": table("panels") | st.just(PANELS),
     "readings.csv": table("readings")},
    optional={"sites.csv": table("sites"), "formulations.csv": table("formulations"),
              "events.csv": table("events"), "weather/S1.csv": table("weather"),
              "weather.csv": table("weather")},
))  # fmt: skip
def test_odd_tables_are_counted_or_refused(files):
    check(files)


@INTAKE
@given(st.binary(max_size=300), st.binary(max_size=300), st.binary(max_size=100))
def test_bytes_that_are_no_tables_are_counted_or_refused(panels, readings, weather):
    check({"panels.csv": panels, "readings.csv": readings, "weather/S1.csv": weather})


@INTAKE
@given(st.text(alphabet=st.sampled_from('A1,;"\n\r\t 0.8é\0-'), max_size=80))
def test_a_good_row_above_any_rubbish_is_accepted_or_the_file_is_refused_whole(rubbish):
    good = "panel,read_on,property,value\nA1,2024-03-01,gloss_60,12\n"
    result = check({"panels.csv": PANELS, "readings.csv": (good + rubbish).encode()})
    assert result is not None
    whole = any(
        finding.row is None or finding.code == "unclosed-quote" for finding in result.findings
    )
    assert whole or "A1/2024-03-01/gloss_60/as_exposed" in set(
        result.exposure.readings["reading_id"]
    )


@INTAKE
@given(st.binary(max_size=400), st.integers(0, 400))
def test_bytes_that_are_no_workbook_are_refused(data, cut):
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "book.xlsx"
        path.write_bytes(b"PK\x03\x04"[: cut % 5] + data)
        with pytest.raises(AgingError, match=r"book\.xlsx"):
            intake.read(path)


def members():
    """A whole workbook, unpacked."""
    book, packed = Workbook(), io.BytesIO()
    book.remove(book.active)
    for sheet, rows in GOOD.items():
        tab = book.create_sheet(sheet)
        for row in [",".join(c.name for c in SHEETS[sheet].columns if c.required), *rows]:
            tab.append(row.split(","))
    book.save(packed)
    with zipfile.ZipFile(packed) as archive:
        return {name: archive.read(name) for name in sorted(archive.namelist())}


WORKBOOK = members()
DAMAGE = st.tuples(
    st.sampled_from(list(WORKBOOK)), st.integers(0, 3000), st.integers(0, 30),
    st.sampled_from([b"", b"<", b">", b'"', b"\0", b"&#x41;", b"9", b'r="zZZ99"', b"1e400", b"-1",
                     b't="d"', b't="e"', b't="b"', b"</c>", b"<row>"]) | st.binary(max_size=4),
)  # fmt: skip


@INTAKE
@given(st.lists(DAMAGE, max_size=4), st.sampled_from([None, *WORKBOOK]))
def test_a_damaged_workbook_is_counted_or_refused(damages, lost):
    parts = dict(WORKBOOK)
    for name, start, length, rubbish in damages:
        at = start % (len(parts[name]) + 1)
        parts[name] = parts[name][:at] + rubbish + parts[name][at + length :]
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "book.xlsx"
        with zipfile.ZipFile(path, "w") as archive:
            for name, data in parts.items():
                if name != lost:
                    archive.writestr(name, data)
        result = checked(path)
    assert result is not None or damages or lost
