"""Surface temperature, SRI and what ageing costs, as a table for a person."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from aging.cli.output import screen, table
from aging.cli.weather import facing
from aging.climate.absorbed import CAUTION, AgeingHeat, RoofYear, ageing_heat, roof_year
from aging.climate.radiation import COLUMNS
from aging.clocks import rack_plane
from aging.errors import require
from aging.intake.weather_files import read_weather_file
from aging.optics.criteria import DefaultAged, default_aged
from aging.optics.heat import Emittance, Wind, sri, surface_temperature

ZERO_C_K = 273.15
HOW = (
    "ASTM E1980: sun 1000 W/m2, air 37 °C, sky 27 °C; slopes below 9.5 deg; "
    "SRI of black 0, of white 100."
)


@dataclass(frozen=True)
class Surface:
    """One surface under the sun of E1980; temperature in K."""

    name: str
    solar_reflectance: float
    temperature: float
    sri: float


@dataclass(frozen=True)
class Heat:
    """What `aging heat` found; `ageing` only where the site's sun is known."""

    surfaces: tuple[Surface, ...]
    emittance: Emittance
    wind: Wind
    ageing: AgeingHeat | None
    notes: tuple[str, ...]


def reckon(
    reflectance: float,
    initial: float | None,
    emittance: Emittance,
    wind: Wind,
    year: RoofYear | None = None,
) -> Heat:
    """The surface; beside it, where known, that it was when new, and the regulators' default."""
    named: dict[str, float] = {"aged" if initial is not None else "surface": reflectance}
    notes = [str(emittance), HOW]
    cost = None
    if initial is not None:
        assumed = _coating()
        named |= {"initial": initial, "default aged": float(assumed.reflectance(initial))}
        notes.append(f"default aged: {assumed}")
        if year is not None:
            cost = ageing_heat(initial, reflectance, emittance.value, year, wind=wind)
    te = emittance.value
    surfaces = tuple(
        Surface(name, sr, float(surface_temperature(sr, te, wind)), float(sri(sr, te, wind)))
        for name, sr in named.items()
    )
    return Heat(surfaces, emittance, wind, cost, tuple(notes))


def sun_on(source: str, site: str | None, tilt: float, azimuth: float | None) -> RoofYear:
    """A typical year of sun on a roof at a site of the source."""
    from aging.cli import sources

    exposure, _ = sources.facts(source, None, None)
    known = exposure.sites["site"].tolist()
    if site is None and len(known) == 1:
        site = known[0]
    require(site in known, "--site", site, known)
    weather = exposure.weather[exposure.weather["site"] == site]
    plane = facing(rack_plane(exposure, str(site), ()), tilt, azimuth, str(site))
    found = roof_year(weather, plane)
    return replace(found, source=f"{site}: {found.source}")


def sun_in(file: Path, tilt: float, azimuth: float | None) -> RoofYear:
    """The year of sun in a weather file (TMY3, EPW) on a roof."""
    year = read_weather_file(file)
    found = roof_year(year.year(), facing(year.place, tilt, azimuth, year.name), year.origin)
    odd = [f"; {one.column}: {one.seen}" for one in year.findings if one.column == COLUMNS["solar"]]
    return replace(found, source=found.source + "".join(odd))


def show(found: Heat) -> None:
    """The surfaces, what ageing costs, and the cautions."""
    console = screen()
    grid = table(["", "solar reflectance", "surface °C", "K", "SRI"])
    for one in found.surfaces:
        kelvin = one.temperature
        figures = f"{one.solar_reflectance:.3f}", f"{kelvin - ZERO_C_K:.1f}", f"{kelvin:.1f}"
        grid.add_row(one.name, *figures, f"{one.sri:.1f}")
    console.print(f"Under the sun at {found.wind} wind", style="bold")
    console.print(grid)
    for text in _told(found):
        console.print(text)


def facts(found: Heat) -> dict[str, object]:
    """The same for JSON."""
    given = asdict(found) | {"caution": CAUTION}
    if found.ageing is not None:
        given["ageing"] |= {
            "extra_kWh_m2": found.ageing.extra_kWh_m2, "warmer": found.ageing.warmer,
        }  # fmt: skip
    return given


def _told(found: Heat) -> Iterator[str]:
    if (cost := found.ageing) is not None:
        yield (
            f"In a typical year the aged roof absorbs {float(cost.extra):.0f} MJ/m2 "
            f"({float(cost.extra_kWh_m2):.0f} kWh/m2) more than when new; in the sunniest hour "
            f"({cost.year.peak:.0f} W/m2) it is {float(cost.warmer):.1f} K warmer."
        )
        yield f"Sun: {cost.year.source}."
    yield from found.notes
    yield f"Caution: {CAUTION}"


def _coating() -> DefaultAged:
    return next(one for one in default_aged() if one.product == "field-applied coating")
