"""The command line: it words results and errors for people and holds no science.

Exit code 0; 1 where findings block or a claim is at risk; 2 on a wrong call, in one line; 3 on a
fault of the program itself, in one line unless AGING_DEBUG is set; 4 where a claim is broken.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

import typer

from aging.cli import (  # noqa: F401 - they register their commands
    claims,
    dossier,
    fieldwork,
    keep,
    outdoors,
    people,
    reports,
    trials,
    visits,
)
from aging.cli.commands import commands
from aging.errors import AgingError

__all__ = ["app"]

WRONG_CALL, FAULT, INTERRUPTED = 2, 3, 130


def app(arguments: Sequence[str] | None = None) -> int:
    """Run one command (`arguments` default to the process's own) and return its exit code."""
    try:
        return commands(arguments, prog_name="aging", standalone_mode=False) or 0
    except (KeyboardInterrupt, typer.Abort):
        return INTERRUPTED
    except (typer.TyperException, AgingError, OSError) as error:
        return _say(_line(error), WRONG_CALL)
    except Exception as error:  # the last line of defence: a person never meets a traceback
        if os.environ.get("AGING_DEBUG"):
            raise
        return _say(
            f"a fault of the program, please report it: {type(error).__name__}: {error} "
            "(AGING_DEBUG=1 shows where)",
            FAULT,
        )


def _line(error: Exception) -> str:
    if isinstance(error, typer.TyperException):
        return f"{error.format_message()} (aging --help lists the commands and options)"
    if isinstance(error, OSError) and error.filename is not None:
        return f"{error.filename}: {error.strerror}"
    return str(error)


def _say(message: str, code: int) -> int:
    sys.stderr.write(f"aging: {' '.join(message.split())}\n")
    return code
