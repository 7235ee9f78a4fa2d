"""What a visit brings beside readings: spectra, instruments, plan, photos, settled findings."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

_READINGS = {
    sa.Text: "surface_wetness spot_values method illuminant geometry blister_frequency evidence"
    " spectrum",
    sa.Double: "observer_deg",
}
_TEXT = {
    "spectra": "spectrum panel read_on surface_state instrument operator wavelengths_nm"
    " reflectances remark extra",
    "instruments": "instrument kind serial calibration_due tile weighting laboratory remark extra",
    "instrument_checks": "instrument at stage tile operator remark extra",
    "operators": "operator name laboratory extra",
    "plan": "site extra",
    "photos": "photo panel taken_on operator remark extra",
    "settlements": "finding rule reading_id decision reason extra",
}
_NUMBERS = {
    "instruments": "tile_value",
    "instrument_checks": "certified value",
    "plan": "months window_days",
}
_REQUIRED = {
    "spectra": "panel read_on wavelengths_nm reflectances",
    "instruments": "instrument",
    "instrument_checks": "instrument at stage value",
    "operators": "operator",
    "plan": "months",
    "photos": "photo panel taken_on",
    "settlements": "finding decision reason",
}
_KEYS = {
    "spectra": ["spectrum"],
    "instruments": ["instrument"],
    "instrument_checks": ["instrument", "at", "stage"],
    "operators": ["operator"],
    "plan": ["site", "months"],
    "photos": ["photo"],
    "settlements": ["finding"],
}


def upgrade() -> None:
    """Add the columns and tables."""
    for kind, names in _READINGS.items():
        for name in names.split():
            op.add_column("readings", sa.Column(name, kind))
    for sheet, key in _KEYS.items():
        required = _REQUIRED[sheet].split()
        op.create_table(
            sheet,
            sa.Column("id", sa.Integer, primary_key=True),
            sa.Column("batch", sa.Integer, sa.ForeignKey("batch.id"), nullable=False),
            *(sa.Column(n, sa.Text, nullable=n not in required) for n in _TEXT[sheet].split()),
            *(
                sa.Column(n, sa.Double, nullable=n not in required)
                for n in _NUMBERS.get(sheet, "").split()
            ),
        )
        op.create_index(f"{sheet}_key", sheet, key)
