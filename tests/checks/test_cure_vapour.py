"""Water vapour and the bag's air against IAPWS-IF97, a federal regulation and the ideal gas.

Sources: IAPWS-IF97 through the package `iapws`; 40 CFR 1065.644 (inputs read, its printed 0.00030 mol/s from memory);
ideal gas closed forms. Psi are of the shop's gauge at sea level.
"""

from __future__ import annotations

import numpy as np
import pytest
from iapws.iapws97 import _PSat_T, _TSat_P

from press_monitor.cure.bag_gas import absolute, compensated_gauge, expected_gauge, molar_flow, throughput
from press_monitor.cure.compound import CureError
from press_monitor.cure.vapour import saturation_pressure, saturation_temperature
from press_monitor.quantities import PSI, pressure_at_altitude


def test_saturation_by_iapws() -> None:
    """Both ways from 0 to 370 degC within 0.1 K of the reference library (it is within a millikelvin)."""
    for degC in np.linspace(0.01, 370.0, 149):
        reference = 1e6 * _PSat_T(degC + 273.15)
        assert saturation_pressure(degC) == pytest.approx(reference, rel=1e-9)
        assert saturation_temperature(reference) == pytest.approx(degC, abs=1e-3)
    assert saturation_temperature(2e5) == pytest.approx(_TSat_P(0.2) - 273.15, abs=1e-6)


def test_saturation_table() -> None:
    """IAPWS-IF97, and Table 35 of R7-97(2012) from memory: 3.53658941 kPa at 300 K, 2.63889776 MPa at 500 K."""
    kPa = {100: 101.418, 120: 198.665, 140: 361.501, 150: 476.101, 160: 618.139, 180: 1002.635, 200: 1554.672}
    assert {t: round(saturation_pressure(t) / 1e3, 3) for t in kPa} == kPa
    assert saturation_pressure(26.85) == pytest.approx(3536.58941, rel=1e-8)
    assert saturation_pressure(226.85) == pytest.approx(2.63889776e6, rel=1e-8)
    psig = {0: 99.97, 5: 108.39, 10: 115.20, 15: 120.95, 20: 125.97, 25: 130.42, 30: 134.44, 35: 138.12}
    for pressure, degC in psig.items():
        assert saturation_temperature(absolute(pressure * PSI)) == pytest.approx(degC, abs=0.1)
    # 300 degF would need about 52 psi to keep pure water from boiling.
    assert (saturation_pressure(148.889) - 101_325.0) / PSI == pytest.approx(52.0, abs=0.5)


def test_outside_its_range_it_says_so() -> None:
    with pytest.raises(CureError, match="critical"):
        saturation_pressure(380.0)
    with pytest.raises(CureError, match="outside"):
        saturation_temperature(100.0)
    assert saturation_pressure(-20.0) == saturation_pressure(0.0)


@pytest.mark.parametrize(
    ("gauge", "from_degC", "to_degC", "expected"),
    [
        (25.0, 20.0, 100.0, 35.833),
        (35.0, 20.0, 100.0, 48.562),
        (35.0, 100.0, 20.0, 24.346),
        (30.0, 80.0, 70.0, 28.734),
    ],
)
def test_a_closed_bag(gauge: float, from_degC: float, to_degC: float, expected: float) -> None:
    """Ideal gas at constant volume, on absolute pressure."""
    found = expected_gauge(gauge * PSI, from_degC, to_degC) / PSI
    assert found == pytest.approx(expected, abs=1e-3)
    assert compensated_gauge(found * PSI, to_degC, from_degC) / PSI == pytest.approx(gauge, abs=1e-9)


def test_a_relief_valve_and_altitude() -> None:
    """A relief holds the pressure flat; at 1609 m (83.4 kPa, US Standard Atmosphere 1976) the same gauge rises less."""
    assert expected_gauge(32.0 * PSI, 20.0, 100.0, relief=40.0 * PSI) == pytest.approx(40.0 * PSI)
    assert expected_gauge(32.0 * PSI, 20.0, 25.0, relief=40.0 * PSI) < 40.0 * PSI
    high = pressure_at_altitude(1609.344)
    assert high == pytest.approx(83_436.0, rel=1e-3)
    assert expected_gauge(30.0 * PSI, 20.0, 100.0, high) < expected_gauge(30.0 * PSI, 20.0, 100.0)


def test_leak_arithmetic() -> None:
    """40 CFR 1065.644's example, printed as 0.00030 mol/s; a throughput at constant temperature."""
    flow = molar_flow(0.002, 25_300.0, 20.0, 50_600.0, 20.0, 70.0, gas_constant=8.314472)
    assert flow == pytest.approx(2.9657e-4, rel=1e-4)
    leaked = throughput(0.12, absolute(30.0 * PSI), absolute(29.0 * PSI), 600.0)
    assert leaked == pytest.approx(1.37895, rel=1e-5)
    moles = molar_flow(0.12, absolute(30.0 * PSI), 80.0, absolute(29.0 * PSI), 80.0, 600.0)
    assert -moles == pytest.approx(4.6963e-4, rel=1e-4)
    assert leaked / 101_325.0 * 273.15 / 353.15 * 60e6 == pytest.approx(631.58, rel=1e-4)
    with pytest.raises(CureError):
        throughput(0.0, 1.0, 1.0, 60.0)
