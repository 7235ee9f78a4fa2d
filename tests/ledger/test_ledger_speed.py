"""A large load against the bare driver that writes the same rows, timed in the same run."""

from __future__ import annotations

import resource
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import numpy as np
import pandas as pd
import psycopg
import pytest
from ledger_example import only

from aging.ledger import open_ledger
from aging.ledger.schema import content
from aging.records import empty_frame

ROWS = 1_000_000


def many_readings():
    """5000 panels x 200 visits, with the cells that a usual sheet fills."""
    parts = [some_readings(range(first, first + 50_000)) for first in range(0, ROWS, 50_000)]
    return pd.concat(parts, ignore_index=True)


def some_readings(numbers):
    rows = np.array(numbers)
    text = {
        "panel": np.char.add("P", (rows // 200).astype(str)),
        "read_on": np.datetime_as_string(np.datetime64("2020-01-01") + rows % 200),
        "property": "solar_reflectance", "unit": "fraction", "surface_state": "as_exposed",
        "instrument": "A",
    }  # fmt: skip
    frame = pd.DataFrame(text, index=rows, dtype="str").assign(
        value=0.3 + 0.5 * np.random.default_rng(rows[0]).random(len(rows)), spot_sd=0.004, spots=3.0
    )
    key = ["panel", "read_on", "property", "surface_state", "instrument"]
    frame["reading_id"] = frame[key[0]].str.cat(frame[key[1:]], sep="/")
    empty = empty_frame("readings")
    return frame.reindex(columns=empty.columns).astype(empty.dtypes.to_dict())


def plain_rows(readings):
    columns = (readings[name].to_numpy(object, na_value=None) for name in content("readings"))
    return list(zip(*columns, strict=True))


def bare_seconds(path, readings):
    rows, names = plain_rows(readings), content("readings")
    with closing(sqlite3.connect(path)) as conn:
        conn.execute(f"CREATE TABLE readings ({', '.join(names)})")
        start = time.perf_counter()
        conn.executemany(f"INSERT INTO readings VALUES ({', '.join('?' * len(names))})", rows)  # noqa: S608
        conn.commit()
        return time.perf_counter() - start


def bare_copy_seconds(url, readings):
    rows = plain_rows(readings)
    with psycopg.connect(url.replace("+psycopg", "")) as conn:
        conn.execute("CREATE TABLE bare (LIKE readings)")
        conn.execute("ALTER TABLE bare DROP COLUMN id, DROP COLUMN batch")
        start = time.perf_counter()
        with conn.cursor().copy(f"COPY bare ({', '.join(content('readings'))}) FROM STDIN") as copy:
            for row in rows:
                copy.write_row(row)
        conn.commit()
        return time.perf_counter() - start


def append_seconds(where, exposure):
    with open_ledger(where, create=True) as ledger:
        start = time.perf_counter()
        receipts = ledger.append(exposure, by="Ada", source="many")
        seconds = time.perf_counter() - start
    return seconds, next(r for r in receipts if r.sheet == "readings")


@pytest.mark.bench
def test_a_million_readings_take_at_most_three_and_a_half_bare_inserts(tmp_path, capsys):
    exposure = only(readings=many_readings())
    bare = bare_seconds(tmp_path / "bare.sqlite", exposure.readings)
    first, receipt = append_seconds(tmp_path / "aging.sqlite", exposure)
    again, repeated = append_seconds(tmp_path / "aging.sqlite", exposure)
    with capsys.disabled():
        print(f"\nbare {bare:.1f} s, append {first / bare:.2f} x, again {again / bare:.2f} x")
    assert (receipt.stored, repeated.already) == (ROWS, ROWS)
    assert first <= 3.5 * bare
    assert again <= 3.5 * bare


@pytest.mark.bench
def test_many_readings_into_postgresql_take_at_most_twenty_bare_copies(postgres_url, capsys):
    exposure = only(readings=many_readings().iloc[:300_000])
    first, receipt = append_seconds(postgres_url, exposure)
    again, repeated = append_seconds(postgres_url, exposure)
    bare = bare_copy_seconds(postgres_url, exposure.readings)
    with capsys.disabled():
        print(f"\nbare {bare:.1f} s, append {first / bare:.2f} x, again {again / bare:.2f} x")
    assert (receipt.stored, repeated.already) == (300_000, 300_000)
    assert max(first, again) <= 20 * bare


@pytest.mark.bench
def test_a_million_readings_need_little_memory(tmp_path):
    command = [sys.executable, Path(__file__), tmp_path / "aging.sqlite"]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    assert float(done.stdout) < 1.2e9


def peak_bytes():
    status = Path("/proc/self/status")
    if not status.exists():
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    (line,) = (line for line in status.read_text().splitlines() if line.startswith("VmHWM"))
    return 1024 * int(line.split()[1])  # ru_maxrss would begin at the peak of the parent


if __name__ == "__main__":
    append_seconds(sys.argv[1], only(readings=many_readings()))
    print(peak_bytes())
