"""A fit in a process of its own, which leaves what it fitted on the shelf (`kept`).

The source comes by standard input, as its URL may hold a password; a line "done of" a campaign
goes out. When nobody listens any more, the next line ends the process.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

from aging.errors import ModelError
from aging.projection.fitting import fit

BEHIND = 5  # niceness: people's pages go first


def fit_apart(
    source: str, name: str, as_of: str | None, *, on_progress: Callable[[int, int], bool]
) -> bool:
    """Fit a property of a source elsewhere; False where `on_progress` said to stop.

    ModelError where the process failed; what it says is in the message.
    """
    command = [sys.executable, "-m", __name__]
    with subprocess.Popen(  # noqa: S603 - this module itself
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
    ) as process:  # fmt: skip
        if process.stdin is None or process.stdout is None or process.stderr is None:
            raise ModelError("the fit's process has no pipes")
        process.stdin.write(json.dumps([source, name, as_of]))
        process.stdin.close()
        for line in process.stdout:
            done, of = map(int, line.split())
            if not on_progress(done, of):
                process.kill()
                return False
        if process.wait():
            raise ModelError(f"the fit ended early: {process.stderr.read().strip()[-300:]}")
    return True


def _serve() -> None:
    if hasattr(os, "nice"):
        os.nice(BEHIND)
    source, name, as_of = json.load(sys.stdin)
    where = source if "://" in source else Path(source)
    fit(where, name, as_of, on_progress=lambda done, of: print(done, of, flush=True))  # noqa: T201


if __name__ == "__main__":
    _serve()
