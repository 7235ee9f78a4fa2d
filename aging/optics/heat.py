"""Surface temperature of a roof under the sun, and its solar reflectance index (SRI).

A surface settles where what it absorbs leaves again by radiation and convection:

    (1 - SR) I = TE sigma (Ts^4 - Tsky^4) + h (Ts - Ta),    SRI = 100 (Tb - Ts) / (Tb - Tw)

with Tb and Tw of a black (SR 0.05, TE 0.90) and a white (0.80, 0.90) surface. It is solved by
Newton's method: it is convex and rises with Ts, so that every start converges. The closed
form of the standard errs by 2 to 3. SRI is below 0 or above 100 beyond black and white.

Balance, constants and scope (TE above 0.1, slopes below 9.5 deg): ASTM E1980. Sensitivity at
0.65 and 0.90, medium wind: 1.4 per 0.01 SR, 0.25 per 0.01 TE.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Literal

import numpy as np
import numpy.typing as npt

from aging.errors import require

Array = npt.NDArray[np.float64]
Wind = Literal["low", "medium", "high"]
CONVECTION_W_M2K: MappingProxyType[str, float] = MappingProxyType(
    {"low": 5.0, "medium": 12.0, "high": 30.0}  # wind of 0 to 2, 2 to 6 and 6 to 10 m/s
)
SIGMA = 5.66961e-8  # W/m2K4, as E1980 prints it
BLACK, WHITE = (0.05, 0.90), (0.80, 0.90)
LEAST_EMITTANCE = 0.1
ASSUMED_EMITTANCE = 0.90  # of a white coating: common practice, no source
START_K, LAST_STEP_K = 330.0, 1e-4  # an error after a step is below 0.005 / K of its square
BLOCK = 8192  # values that stay in the processor's cache


@dataclass(frozen=True)
class Surroundings:
    """Irradiance (W/m2), air and sky (K) around a surface, as E1980 sets them unless told."""

    irradiance: float = 1000.0
    air: float = 310.0
    sky: float = 300.0


STANDARD = Surroundings()


@dataclass(frozen=True)
class Emittance:
    """Thermal emittance (fraction), its standard uncertainty, and how it is known."""

    value: float
    sd: float
    known: Literal["measured", "assumed"]

    def __str__(self) -> str:
        spread = f" ± {self.sd:.2g}" if self.sd else ""
        return f"thermal emittance {self.value:.2f}{spread}, {self.known}"

    def draws(self, shape: tuple[int, ...], seed: int = 0) -> Array:
        """Normal draws, held within what E1980 allows and 1."""
        normal = np.random.default_rng(seed).normal(self.value, self.sd, shape)
        return np.clip(normal, np.nextafter(LEAST_EMITTANCE, 1), 1.0)


def emittance(measured: float | None = None, sd: float = 0.0) -> Emittance:
    """The measured emittance (fraction, above 0.1 to 1), or the assumed one where there is none."""
    known = ASSUMED_EMITTANCE if measured is None else measured
    within("thermal emittance", known, LEAST_EMITTANCE, above=True)
    require(0 <= sd <= 1, "uncertainty of the emittance", sd, "0 to 1")
    return Emittance(known, sd, "assumed" if measured is None else "measured")


def surface_temperature(
    reflectance: npt.ArrayLike,
    emittance: npt.ArrayLike,
    wind: Wind = "medium",
    around: Surroundings = STANDARD,
) -> Array:
    """Steady surface temperature, K, of surfaces that let no heat through.

    reflectance, emittance : fractions 0 to 1, of shapes that broadcast; the result has their shape.
    """
    sr = within("solar reflectance", reflectance)
    te = within("thermal emittance", emittance)
    require(wind in CONVECTION_W_M2K, "wind", wind, CONVECTION_W_M2K)
    for name, seen, low, high in (
        ("irradiance, W/m2", around.irradiance, 0, 1500),
        ("air, K", around.air, 200, 350),
        ("sky, K", around.sky, 100, 350),
    ):
        require(low <= seen <= high, name, seen, f"{low} to {high}")
    convection = CONVECTION_W_M2K[wind]
    sr, te = np.broadcast_arrays(sr, te)
    found, sr, te = np.empty(sr.size), sr.ravel(), te.ravel()
    for start in range(0, found.size, BLOCK):
        block = slice(start, start + BLOCK)
        radiant = SIGMA * te[block]
        gain = (1 - sr[block]) * around.irradiance
        gain += radiant * around.sky**4 + convection * around.air
        found[block] = _newton(radiant, gain, convection)
    return found.reshape(np.broadcast_shapes(np.shape(reflectance), np.shape(emittance)))


def sri(reflectance: npt.ArrayLike, emittance: npt.ArrayLike, wind: Wind = "medium") -> Array:
    """Solar reflectance index; draws of reflectance and emittance give draws of the index.

    reflectance (0 to 1), emittance (above 0.1 to 1) : fractions, of shapes that broadcast.
    """
    within("thermal emittance", emittance, LEAST_EMITTANCE, above=True)
    surface = surface_temperature(reflectance, emittance, wind)
    black, white = references(wind)
    surface -= black
    surface *= -100 / (black - white)
    return surface


@cache
def references(wind: Wind) -> tuple[float, float]:
    """Temperatures of the black and the white reference surface, K."""
    sr, te = zip(BLACK, WHITE, strict=True)
    black, white = surface_temperature(sr, te, wind).tolist()
    return black, white


def within(what: str, values: npt.ArrayLike, low: float = 0.0, *, above: bool = False) -> Array:
    """`values` as an array; CallError names the first that is not a fraction low to 1."""
    seen = np.asarray(values, dtype=np.float64)
    if seen.size:
        least, most = seen.min(), seen.max()  # of values one of which is missing: missing
        if not ((least > low if above else least >= low) and most <= 1):
            wrong = ~((seen > low if above else seen >= low) & (seen <= 1))
            allowed = f"{'above ' * above}{low:g} to 1, as a fraction"
            require(False, what, seen[wrong].flat[0].item(), allowed)
    return seen


def _newton(radiant: Array, gain: Array, convection: float) -> Array:
    """Ts at which radiant Ts^4 + convection Ts = gain; radiant is TE sigma."""
    surface = np.full_like(gain, START_K)
    cubed, slope, before = np.empty_like(gain), np.empty_like(gain), np.empty_like(gain)
    step = np.inf
    while step > LAST_STEP_K:
        before[:] = surface
        np.multiply(surface, surface, out=cubed)
        cubed *= surface
        cubed *= radiant
        np.multiply(cubed, 4, out=slope)
        slope += convection
        surface *= cubed
        surface *= 3
        surface += gain
        surface /= slope
        before -= surface
        step = max(before.max(), -before.min())
    return surface
