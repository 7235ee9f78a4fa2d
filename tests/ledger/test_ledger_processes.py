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
SEEDS = [
    *range(4), *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(4, 50))
]  # fmt: skip


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


def test_eight_programs_with_the_same_and_their_own_rows_store_each_once(ledger_url):
    own = [[(0, SIZE), (SIZE * number, SIZE), (9 * SIZE, SIZE)] for number in range(1, 9)]
    assert sum(race(ledger_url, *own)) == 10 * (SIZE + 1)
    with open_ledger(ledger_url) as ledger:
        assert ledger.revision == 10
        assert sorted(ledger.history()["reading_id"]) == sorted(f"r{i}" for i in range(10 * SIZE))
        assert len(ledger.read().panels) == 10
        assert ledger.verify().whole


def batches(ledger):
    """Rows of each batch, by sheet."""
    with ledger._store.reading() as conn:  # noqa: SLF001
        tables = {name: pd.read_sql(text(f"SELECT batch FROM {name}"), conn) for name in TABLES}  # noqa: S608
        if conn.dialect.name == "sqlite":
            assert conn.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
    return {name: rows["batch"].value_counts().to_dict() for name, rows in tables.items()}


@pytest.mark.parametrize(("size", "count"), [(SIZE, 5), (1, 12)], ids=["import", "save"])
@pytest.mark.parametrize("seed", SEEDS)
def test_a_killed_program_leaves_whole_loads(ledger_url, size, count, seed):
    draw = np.random.default_rng([seed, size])
    loads = [(size * load, size) for load in range(count)]
    messages = -(-size // 100) + 2  # one for each chunk of readings, for the panel and for the load
    last = int(draw.integers(1, (count - 1) * messages)) if seed else messages - 1  # 0: at a commit
    open_ledger(ledger_url, create=True).close()
    with appender(ledger_url, *loads) as (program, pipe):
        pipe.send("go")
        for _ in range(last):
            pipe.recv()
        time.sleep(draw.uniform(0, 0.01))
        program.kill()
    with open_ledger(ledger_url) as ledger:
        done = ledger.revision
        assert last // messages <= done < len(loads)
        whole = dict.fromkeys(range(1, done + 1), size)
        found = batches(ledger)
        assert found["readings"] == whole
        assert found["panels"] == dict.fromkeys(whole, 1)
        assert ledger.verify().whole
        for load in loads[max(done - 1, 0) :]:
            ledger.append(numbered(*load), by="Ada", source="again")
        assert ledger.revision == len(loads)
        assert len(ledger.read().readings) == len(loads) * size
        assert ledger.verify().whole
