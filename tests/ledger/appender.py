"""Programs that append on their own, started without importing everything anew."""

from __future__ import annotations

import multiprocessing
from contextlib import contextmanager

from ledger_example import numbered

from aging.ledger import append, open_ledger

_STARTER = multiprocessing.get_context("forkserver")
_STARTER.set_forkserver_preload(["aging.ledger", "pyarrow"])


def _append(url, loads, pipe):
    append.CHUNK = 100
    exposures = [numbered(*load) for load in loads]
    pipe.send("ready")
    pipe.recv()
    with open_ledger(url, create=True) as ledger:
        for exposure in exposures:
            receipts = ledger.append(
                exposure, by="Ada", source="a loop", on_progress=lambda *step: pipe.send(step)
            )
            pipe.send(sum(receipt.stored for receipt in receipts))


@contextmanager
def appender(url, *loads):
    """A program about to append loads of (first, count), and a pipe to it.

    It waits for a word, then tells (done, total) for each chunk and the rows stored of each load.
    """
    mine, other = _STARTER.Pipe()
    program = _STARTER.Process(target=_append, args=(url, loads, other))
    program.start()
    other.close()
    with mine:
        assert mine.recv() == "ready"
        yield program, mine
        program.kill()
    program.join()
    program.close()
