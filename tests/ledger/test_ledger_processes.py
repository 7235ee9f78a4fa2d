"""Several programs at one store, and programs that are killed while they write."""

from __future__ import annotations

import time
from contextlib import ExitStack

import numpy as np
import pandas as pd
import pytest
from appender import appender
from ledger_example import numbered
from sqlalchemy import text

from aging.ledger import open_ledger
from aging.ledger.schema import TABLES

SIZE = 1000
MESSAGES = SIZE // 100 + 2  # one for each chunk of readings, for the panel and for the load


def told(pipe):
    try:
        while True:
            yield pipe.recv()
    except EOFError:
        return


def race(url, *loads_of_each):
    """Rows that each program stored, all started at once."""
    with ExitStack() as stack:
        programs = [stack.enter_context(appender(url, *loads)) for loads in loads_of_each]
        for _, pipe in programs:
            pipe.send("go")
        stored = [sum(word for word in told(pipe) if isinstance(word, int)) for _, pipe in programs]
        for program, _ in programs:
            program.join()
            assert program.exitcode == 0
    return stored


def test_four_programs_with_the_same_rows_store_each_once(ledger_url):
    counts = race(ledger_url, *[[(0, SIZE), (SIZE, SIZE)]] * 4)
    assert sum(counts) == 2 * (SIZE + 1)
    with open_ledger(ledger_url) as ledger:
        assert ledger.revision == 2
        assert ledger.history()["reading_id"].is_unique
        assert len(ledger.read().panels) == 2


def test_four_programs_with_rows_of_their_own_lose_none(ledger_url):
    starts = [[(SIZE * (3 * one + load), SIZE) for load in range(3)] for one in range(4)]
    assert race(ledger_url, *starts) == [3 * (SIZE + 1)] * 4
    with open_ledger(ledger_url) as ledger:
        assert ledger.revision == 12
        assert set(ledger.read().readings["reading_id"]) == {f"r{i}" for i in range(12 * SIZE)}


def batches(ledger):
    """Rows of each batch, by sheet."""
    with ledger._store.reading() as conn:  # noqa: SLF001
        tables = {name: pd.read_sql(text(f"SELECT batch FROM {name}"), conn) for name in TABLES}  # noqa: S608
        if conn.dialect.name == "sqlite":
            assert conn.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
    return {name: rows["batch"].value_counts().to_dict() for name, rows in tables.items()}


@pytest.mark.parametrize("seed", range(8))
def test_a_killed_program_leaves_whole_loads(ledger_url, seed):
    draw = np.random.default_rng(seed)
    loads = [(SIZE * load, SIZE) for load in range(5)]
    last = int(draw.integers(1, 4 * MESSAGES)) if seed else MESSAGES - 1  # seed 0 aims at a commit
    open_ledger(ledger_url, create=True).close()
    with appender(ledger_url, *loads) as (program, pipe):
        pipe.send("go")
        for _ in range(last):
            pipe.recv()
        time.sleep(draw.uniform(0, 0.01))
        program.kill()
    with open_ledger(ledger_url) as ledger:
        done = ledger.revision
        assert last // MESSAGES <= done < len(loads)
        whole = dict.fromkeys(range(1, done + 1), SIZE)
        found = batches(ledger)
        assert found["readings"] == whole
        assert found["panels"] == dict.fromkeys(whole, 1)
        for load in loads:
            ledger.append(numbered(*load), by="Ada", source="again")
        assert ledger.revision == len(loads)
        assert len(ledger.read().readings) == len(loads) * SIZE
