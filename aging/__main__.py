"""`python -m aging` is the command `aging`."""

from __future__ import annotations

import sys

from aging.cli import app

if __name__ == "__main__":
    sys.exit(app())
