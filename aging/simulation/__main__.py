"""`python -m aging.simulation FOLDER` writes the shipped sample into FOLDER, byte for byte."""

from __future__ import annotations

import sys
from pathlib import Path

from aging.simulation.sample import write_sample

match sys.argv[1:]:
    case [folder] if not folder.startswith("-"):
        write_sample(Path(folder))
    case _:
        sys.exit("usage: python -m aging.simulation FOLDER")
