"""Water in the rubber: its vapour pressure, and what of the bag's pressure is left over it.

Saturation by IAPWS-IF97 region 4 (IAPWS R7-97(2012), equations 29-31, table 34), both ways in closed form, valid
from 0 to 373.946 degC.
"""

from __future__ import annotations

import math

from press_monitor.cure.compound import CureError
from press_monitor.quantities import ZERO_CELSIUS

__all__ = ["CRITICAL_TEMPERATURE", "saturation_pressure", "saturation_temperature"]

_N = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)
_LOWEST = 273.15

CRITICAL_TEMPERATURE = 373.946
"""degC; above it there is no boiling to speak of."""


def saturation_pressure(degC: float) -> float:
    """Absolute pressure in Pa at which water boils at `degC`.

    Below 0 degC that of 0 degC, which is the cautious side. Raises `CureError` past the critical point.
    """
    kelvin = max(degC + ZERO_CELSIUS, _LOWEST)
    if not degC <= CRITICAL_TEMPERATURE:
        raise CureError(f"water vapour: {degC:g} degC is past the critical point")
    n = _N
    theta = kelvin + n[8] / (kelvin - n[9])
    a = (theta + n[0]) * theta + n[1]
    b = (n[2] * theta + n[3]) * theta + n[4]
    c = (n[5] * theta + n[6]) * theta + n[7]
    return float(1e6 * (2.0 * c / (-b + math.sqrt(b * b - 4.0 * a * c))) ** 4)


def saturation_temperature(pascal: float) -> float:
    """Temperature in degC at which water boils under `pascal` absolute.

    Raises `CureError` outside 611 Pa to 22 MPa.
    """
    if not 611.2 <= pascal <= 22.064e6:
        raise CureError(f"water vapour: {pascal:g} Pa is outside 611 Pa to 22 MPa")
    n = _N
    beta = (pascal * 1e-6) ** 0.25
    e = (beta + n[2]) * beta + n[5]
    f = (n[0] * beta + n[3]) * beta + n[6]
    g = (n[1] * beta + n[4]) * beta + n[7]
    d = 2.0 * g / (-f - math.sqrt(f * f - 4.0 * e * g))
    s = n[9] + d
    return float((s - math.sqrt(s * s - 4.0 * (n[8] + n[9] * d))) / 2.0 - ZERO_CELSIUS)
