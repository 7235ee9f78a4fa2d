"""The trade's words: properties, units, scales, surface states, roles, kinds.

One table of properties that everything which names a property reads. `low..high` is what can
exist (outside: refused); `usual_low..usual_high` is what a white elastomeric coating shows
(outside: questioned). Usual bands: common practice, no source. Derived properties are calculated
from a projected one and never entered as readings; the table of those is its own.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from aging.errors import CallError

Scale = Literal["ratio", "interval", "ordinal"]

SURFACE_STATES = ("as_exposed", "rinsed", "washed", "bleached")
ROLES = ("control", "candidate", "reference")
PANEL_KINDS = ("exposed", "file_specimen", "roof_patch")
BACKINGS = ("open", "backed", "insulated", "black_box")
EVENT_KINDS = (
    "wash", "move", "recoat", "replace", "loss", "retrieve", "storm", "dust", "smoke", "pollen",
    "mowing", "works", "instrument", "other",
)  # fmt: skip
WETNESS = ("dry", "damp", "wet")
GEOMETRIES = ("45:0", "d:8 SCI", "d:8 SCE")
OBSERVERS_DEG = (2, 10)
BLISTER_FREQUENCIES = ("none", "few", "medium", "medium dense", "dense")
EVIDENCE = ("outdoor", "laboratory_soiling", "slurry")
CHECK_STAGES = ("before", "during", "after")
DECISIONS = ("confirmed", "corrected", "excluded", "reopened")
CLAIM_BASES = (
    "rated", "measured", "substantiated", "projected", "internal", "laboratory-aged",
    "default formula",
)  # fmt: skip
CLAIM_ENDS = ("withdrawn", "replaced")
# Letters of ASTM D4214 (fabric A and B, finger C, tape D), tapes of ISO 4628-6 and -7: from memory.
METHODS = {"chalking_astm": ("A", "B", "C", "D"), "chalking_iso": ("tape", "velvet")}
SERIES_ENDING_EVENTS = ("wash", "recoat", "replace", "loss", "retrieve")
DAYS_PER_MONTH = 30.44
COMPOSITION = re.compile(
    r"(.+?)_((?:(?:wt|mass|vol)_)?pct|phr|ppm|um|nm|mm|g|kg|C|K|[A-Za-z]+_per_[A-Za-z0-9]+)"
)
DOSE_UNITS = {
    "wt_pct": "% by mass", "mass_pct": "% by mass", "vol_pct": "% by volume", "pct": "%", "C": "°C",
}  # fmt: skip

UNIT_FACTORS: MappingProxyType[str, dict[str, float]] = MappingProxyType(
    {
        "fraction": {"fraction": 1.0, "1": 1.0, "%": 0.01, "percent": 0.01, "pct": 0.01},
        "%": {"%": 1.0, "percent": 1.0, "pct": 1.0, "fraction": 100.0},
        "um": {"um": 1.0, "µm": 1.0, "μm": 1.0, "micron": 1.0, "mil": 25.4, "mm": 1000.0},
        "GU": {"gu": 1.0},
        "rating": {"rating": 1.0},
        "1": {"1": 1.0},
        "N/m": {"n/m": 1.0, "lbf/in": 175.126835},
        "MPa": {"mpa": 1.0, "psi": 0.00689475729},
    }
)


@dataclass(frozen=True)
class Property:
    """One measurable property: how it is named, bounded, rounded and judged."""

    name: str
    label: str
    symbol: str
    unit: str
    low: float
    high: float
    usual_low: float
    usual_high: float
    higher_is_better: bool | None
    scale: Scale
    step: float
    method: str
    derived_from: str = ""

    @property
    def within(self) -> str:
        """Its label within a sentence."""
        return self.label[:1].lower() + self.label[1:]

    @property
    def read_as(self) -> str:
        """Name of the property that is read for it: its own, or what it is derived from."""
        return self.derived_from or self.name

    @property
    def decimals(self) -> int:
        """Decimals a person sees, from the recording step."""
        return len(f"{self.step:g}".partition(".")[2])


def _table(*rows: Property) -> MappingProxyType[str, Property]:
    return MappingProxyType({row.name: row for row in rows})


# Ranges and steps: ASTM/ISO method named in the last column, from memory unless published openly.
PROPERTIES = _table(
    Property("solar_reflectance", "Solar reflectance", "SR", "fraction", 0.02, 1.0, 0.30, 0.92,
             True, "ratio", 0.001, "ASTM C1549, E903 or E1918"),
    Property("thermal_emittance", "Thermal emittance", "TE", "fraction", 0.02, 1.0, 0.80, 0.95,
             None, "ratio", 0.01, "ASTM C1371 or E408"),
    Property("lightness", "Lightness", "L*", "1", 0, 100, 40, 99,
             True, "interval", 0.01, "ASTM D2244, CIE 15"),
    Property("a_star", "Red-green coordinate", "a*", "1", -128, 128, -6, 6,
             None, "interval", 0.01, "ASTM D2244, CIE 15"),
    Property("b_star", "Yellow-blue coordinate", "b*", "1", -128, 128, -6, 20,
             None, "interval", 0.01, "ASTM D2244, CIE 15"),
    Property("yellowness_index", "Yellowness index", "YI", "1", -50, 150, -10, 40,
             False, "interval", 0.1, "ASTM E313"),
    Property("gloss_20", "Gloss at 20 deg", "G20", "GU", 0, 200, 0, 60,
             None, "ratio", 0.1, "ASTM D523, ISO 2813"),
    Property("gloss_60", "Gloss at 60 deg", "G60", "GU", 0, 200, 0, 80,
             None, "ratio", 0.1, "ASTM D523, ISO 2813"),
    Property("gloss_85", "Gloss at 85 deg", "G85", "GU", 0, 200, 0, 80,
             None, "ratio", 0.1, "ASTM D523, ISO 2813"),
    Property("chalking_astm", "Chalking (10 none)", "CH", "rating", 0, 10, 2, 10,
             True, "ordinal", 1, "ASTM D4214"),
    Property("chalking_iso", "Chalking (0 none)", "CH-ISO", "rating", 0, 5, 0, 4,
             False, "ordinal", 0.5, "ISO 4628-6"),
    Property("growth", "Growth and disfigurement (10 none)", "GD", "rating", 0, 10, 2, 10,
             True, "ordinal", 1, "ASTM D3274"),
    Property("checking", "Checking (10 none)", "CK", "rating", 0, 10, 4, 10,
             True, "ordinal", 1, "ASTM D660"),
    Property("cracking", "Cracking (10 none)", "CR", "rating", 0, 10, 4, 10,
             True, "ordinal", 1, "ASTM D661"),
    Property("flaking", "Flaking (10 none)", "FL", "rating", 0, 10, 4, 10,
             True, "ordinal", 1, "ASTM D772"),
    Property("blistering", "Blister size (10 none)", "BL", "rating", 0, 10, 4, 10,
             True, "ordinal", 1, "ASTM D714"),
    Property("dirt_retention", "Dirt retention, slurry test", "DR", "%", 0, 110, 30, 102,
             True, "ratio", 0.1, "slurry test: common practice, no source"),
    Property("dry_film_um", "Dry film thickness", "DFT", "um", 1, 10_000, 200, 1500,
             None, "ratio", 1, "ASTM D4138, ISO 2808"),
    Property("wet_adhesion", "Wet adhesion (peel)", "WA", "N/m", 0, 20_000, 100, 5000,
             True, "ratio", 1, "ASTM C794, D903"),
    Property("elongation", "Elongation at break", "EB", "%", 0, 3000, 50, 800,
             True, "ratio", 1, "ASTM D2370"),
    Property("low_temperature_bend", "Bend at -26 degC (1 passes, 0 cracks)", "LTB", "rating", 0, 1,
             0, 1, True, "ordinal", 1, "ASTM D522"),
    Property("tensile_strength", "Tensile strength", "TS", "MPa", 0, 100, 0.5, 10,
             True, "ratio", 0.01, "ASTM D2370"),
)  # fmt: skip

# Under the sun of E1980; usual bands are those of solar reflectance at emittance 0.90.
DERIVED = _table(
    Property("sri", "Solar reflectance index", "SRI", "1", -160, 135, 30, 117,
             True, "interval", 1, "ASTM E1980", "solar_reflectance"),
    Property("surface_temperature", "Surface temperature in the sun", "Ts", "°C", 31, 190, 38, 71,
             False, "interval", 0.1, "ASTM E1980", "solar_reflectance"),
)  # fmt: skip


def property_named(name: str) -> Property:
    """Look a property up by its column name; CallError lists the known ones."""
    known = {**PROPERTIES, **DERIVED}
    if name not in known:
        raise CallError(f"property: {name!r} is not known; known: {', '.join(known)}")
    return known[name]


def additive_words(column: str) -> tuple[str, str]:
    """Name and unit of a composition column, the unit empty where the name ends in none.

    silica_wt_pct is ('silica', '% by mass'), tio2_g_per_l is ('tio2', 'g/l').
    """
    found = COMPOSITION.fullmatch(column)
    name, unit = found.groups() if found else (column, "")
    return name.replace("_", " "), DOSE_UNITS.get(unit, unit.replace("_per_", "/"))


def additive_title(column: str) -> str:
    """Name and unit: 'silica, % by mass'."""
    return ", ".join(filter(None, additive_words(column)))


def dose_words(column: str, dose: float) -> str:
    """A dose as a person reads it: 'silica 4 % by mass'."""
    name, unit = additive_words(column)
    return f"{name} {dose:g} {unit}".rstrip()


def unit_factor(prop: Property, unit: str | None) -> float | None:
    """Factor from `unit` to the property's own unit; None where the unit is not one of its."""
    if unit is None or not unit.strip():
        return 1.0
    return UNIT_FACTORS[prop.unit].get(unit.strip().lower())
