from __future__ import annotations

from pathlib import Path

import pytest

PANELS = """\
panel,formulation,site,exposed_on,kind,closed_on
A1,F1,S1,2024-01-10,exposed,
A2,F2,S1,2024-01-10,,2024-12-31
A3,F2,S1,2024-01-10,file_specimen,
"""
READINGS = """\
panel,read_on,property,value,unit,surface_state
A1,2024-03-01,solar_reflectance,0.812,,as_exposed
A2,2024-03-01,solar_reflectance,0.795,,as_exposed
"""


@pytest.fixture
def folder(tmp_path):
    """Write an exposure folder; sheets are text or bytes, None leaves one out."""

    def write(**sheets: str | bytes | None) -> Path:
        for name, cells in {"panels": PANELS, "readings": READINGS, **sheets}.items():
            path = tmp_path / f"{name.replace('__', '/')}.csv"
            path.parent.mkdir(exist_ok=True)
            if cells is not None:
                path.write_bytes(cells if isinstance(cells, bytes) else cells.encode())
        return tmp_path

    return write
