"""What a simulated campaign consists of: sites, formulations, scatter and the reading plan.

Sites, formulations and every magnitude are invented. `Scatter` holds standard deviations in the
unit named at each line; setting one to zero removes that source of error.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from itertools import cycle, islice, pairwise, product

from aging.errors import require
from aging.simulation.appearance import SIMULATED
from aging.simulation.courses import COURSES, MECHANISTIC
from aging.simulation.weather import CLIMATES

LEAST_GAP = 0.1  # months: two visits never share a day


@dataclass(frozen=True)
class Site:
    """An exposure site; coordinates are rounded and point at no real station."""

    site: str
    name: str
    climate: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    timezone: str


@dataclass(frozen=True)
class Formulation:
    """A white elastomeric coating by what was varied in it."""

    formulation: str
    silica_wt_pct: float = 0.0
    hollow_sphere_vol_pct: float = 0.0
    role: str = "candidate"


def blend(silica_wt_pct: float, hollow_sphere_vol_pct: float, prefix: str = "") -> Formulation:
    """Formulation named by its composition; without both additives it is the control."""
    name = f"{prefix}S{silica_wt_pct:g}H{hollow_sphere_vol_pct:g}"
    role = "candidate" if silica_wt_pct or hollow_sphere_vol_pct else "control"
    return Formulation(name, silica_wt_pct, hollow_sphere_vol_pct, role)


def coats(count: int, prefix: str = "") -> tuple[Formulation, ...]:
    """Formulations F1 (the control), F2, ..., of many compositions."""
    grid = tuple(product((0, 30, 15), (0, 8, 4, 10)))
    return tuple(
        Formulation(f"{prefix}F{place + 1}", silica, spheres, "candidate" if place else "control")
        for place, (spheres, silica) in enumerate(islice(cycle(grid), count))
    )


SITES = (
    Site("AMARO", "Amaro Lagoon", "hot-humid", 26.0, -80.0, 3, "Etc/GMT+5"),
    Site("DRYWELL", "Drywell Flats", "hot-dry", 33.0, -112.0, 600, "Etc/GMT+7"),
    Site("KESTREL", "Kestrel Yard", "temperate-urban", 41.0, -81.0, 250, "Etc/GMT+5"),
)
FORMULATIONS = (blend(0, 0), blend(4, 0), blend(8, 0), blend(10, 0), blend(0, 30), blend(8, 30))


@dataclass(frozen=True)
class Scatter:
    """Sizes of the random effects."""

    batch_initial: float = 0.004  # formulation's initial reflectance [fraction]
    batch_stickiness: float = 0.08  # what composition does not explain [log]
    site_soiling: float = 0.10  # this site in these years [log]
    site_growth: float = 0.25  # [log]
    interaction: float = 0.06  # formulation x site stickiness [log]
    panel_initial: float = 0.004  # [fraction]
    panel_soiling: float = 0.07  # [log]
    panel_growth: float = 0.12  # [log]
    visit: float = 1.0  # multiplies the shared error of a visit
    visit_freedom: float = 4.0  # degrees of freedom of its Student t: heavy tails
    visit_spread: float = 0.0  # its size at this site in these years [log]
    rate: float = 0.25  # of a closed-form course [log]
    drift: float = 1.0  # multiplies the instruments' drift between calibrations
    spot: float = 1.0  # multiplies the noise of single spots


@dataclass(frozen=True)
class Design:
    """A campaign: who is exposed where, when it is read and what is read.

    Months count 30.44 days from each site's own start. The control is the formulation whose role
    says so; every formulation hangs at every site. `sparse` is how many visits pass between
    readings of properties other than solar reflectance. Composition acts in "dirt and rain" alone;
    the other courses draw each formulation's traits. Raises CallError on a wrong plan.
    """

    sites: tuple[Site, ...] = SITES
    formulations: tuple[Formulation, ...] = FORMULATIONS
    course: str = MECHANISTIC
    storm: bool = False  # one visit of each site finds all its panels 0.04 to 0.09 darker
    swap: bool = False  # at one visit of each site two panels carry each other's label
    panels: int = 3
    least_panels: int | None = None  # where given, from so many to `panels` hang at a site
    file_specimens: int = 1
    exposed_on: date = date(2021, 4, 6)
    stagger_days: int = 9  # each further site starts that much later
    months: float = 36.0  # visits and marks beyond fall away
    visits: tuple[float, ...] = (0, 1, 2, 3, 6, 9, 12, 15, 18, 21, 24, 27, 30, 33, 36)
    marks: tuple[float, ...] = (0, 6, 12, 18, 24, 30, 36)  # months that the truth always holds
    jitter_days: int = 8  # at most a third of the gap to the visit before
    missing_visit: float = 0.06  # chance that a planned visit falls out
    missing_reading: float = 0.01
    washed: tuple[float, ...] = ()  # planned visits with a washed twin reading
    properties: tuple[str, ...] = ("solar_reflectance",)
    sparse: int = 2
    spots: int = 3
    rack: str = "A"
    closed: bool = False  # panels come down after the last visit
    weather: bool = True  # whether the exposure carries daily weather
    scatter: Scatter = field(default_factory=Scatter)

    def __post_init__(self) -> None:
        require(self.course in COURSES, "course", self.course, COURSES)
        for site in self.sites:
            require(site.climate in CLIMATES, "climate", site.climate, CLIMATES)
        for name in self.properties:
            require(name in SIMULATED, "property", name, SIMULATED)
        for what, names in (
            ("sites", [site.site for site in self.sites]),
            ("formulations", [blend.formulation for blend in self.formulations]),
            ("properties", self.properties),
        ):
            once = len(set(names)) == len(names) > 0
            require(once, what, names, "at least one, each once")
        for what, count, low in (
            ("panels", self.panels, 1),
            ("file_specimens", self.file_specimens, 0),
            ("spots", self.spots, 1),
            ("sparse", self.sparse, 1),
            ("jitter_days", self.jitter_days, 0),
        ):
            require(count >= low, what, count, f"{low} or more")
        few = self.panels if self.least_panels is None else self.least_panels
        require(1 <= few <= self.panels, "least_panels", few, f"1 to {self.panels}")
        apart = all(later - month >= LEAST_GAP for month, later in pairwise(self.visits))
        rule = f"months from 0, rising by at least {LEAST_GAP:g}"
        require(self.visits[:1] == (0,) and apart, "visits", self.visits, rule)
        require(set(self.washed) <= set(self.visits), "washed", self.washed, self.visits)
        fine = all(month >= 0 for month in self.marks) and len(set(self.marks)) == len(self.marks)
        require(fine, "marks", self.marks, "0 or later, each once")
        for what in ("visits", "marks", "washed"):
            within = tuple(month for month in getattr(self, what) if month <= self.months)
            object.__setattr__(self, what, within)
        if self.storm or self.swap:
            require(len(self.visits) > 1, "visits", self.visits, "two or more to disturb one")
        if self.swap:
            coats = len(self.formulations)
            require(coats > 1, "formulations", coats, "two or more to swap two panels")
