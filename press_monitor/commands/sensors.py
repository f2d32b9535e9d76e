"""A technician with a meter in hand: what a sensor's signal means, and what to expect of it."""

from __future__ import annotations

from typing import Any

import click

from press_monitor.console import PROBLEM, Number, Temperature, as_json, put, put_json

__all__ = ["thermocouple"]

PLATINUM = {"PT100": 100.0, "PT1000": 1000.0}
KEYS = (
    *("type", "mv", "temperature_degC", "cold_junction_degC", "ohm", "r0_ohm", "tolerance_A_K", "tolerance_B_K"),
    *("mA", "class", "low", "high", "unit", "value"),
)
"""What ``--json`` prints, whatever was asked; null where it does not apply."""


@click.command()
@click.argument("type_", metavar="[TYPE]", required=False)
@click.option("--mv", type=Number(), metavar="X", help="An emf in mV.")
@click.option("--temp", type=Temperature(), metavar="T", help='A temperature, such as "-40 degC".')
@click.option("--cold-junction", type=Temperature(), default="0 degC", show_default=True, metavar="T")
@click.option("--ohm", type=Number(), metavar="X", help="A platinum sensor's resistance.")
@click.option("--r0", type=Number(least=1e-3), metavar="X", help="Its ohms at 0 degC. [default: 100]")
@click.option("--ma", type=Number(), metavar="X", help="A loop's current in mA.")
@click.option("--range", "span", metavar="LOW..HIGH", help='What the loop spans, such as "0 psi..60 psi".')
@as_json
@click.pass_context
def thermocouple(
    ctx: click.Context,
    type_: str | None,
    mv: float | None,
    temp: float | None,
    cold_junction: float,
    ohm: float | None,
    r0: float | None,
    ma: float | None,
    span: str | None,
    as_json: bool,
) -> None:
    """What a sensor's signal means, or what to expect of it.

    TYPE is a thermocouple's letter (K J T E N S R B, by ITS-90) with --mv or --temp, or Pt100 or Pt1000 (IEC 60751)
    with --ohm or --temp. A 4-20 mA loop takes --ma and --range instead, and is told by NAMUR NE 43; exit 1 where the
    current says failure.
    """
    sensor = (type_ or "").strip()
    if ma is not None or span is not None:
        if ma is None or span is None:
            raise click.UsageError("a loop takes both --ma and --range")
        if type_ is not None or (mv, temp, ohm, r0) != (None,) * 4:
            raise click.UsageError("--ma and --range stand alone")
        report, line, failed = _loop(ma, span)
    elif ohm is not None or r0 is not None or sensor.upper() in PLATINUM:
        if mv is not None or (sensor and sensor.upper() not in PLATINUM):
            raise click.UsageError("--ohm and --r0 are for Pt100 and Pt1000, --mv for a thermocouple")
        if (ohm is None) == (temp is None):
            raise click.UsageError("give either --ohm or --temp")
        (report, line), failed = _platinum(sensor, ohm, temp, r0), False
    else:
        if not sensor:
            raise click.UsageError("give a TYPE, or --ohm, or --ma and --range")
        if (mv is None) == (temp is None):
            raise click.UsageError("give either --mv or --temp")
        (report, line), failed = _thermocouple(sensor, mv, temp, cold_junction), False
    if as_json:
        put_json({key: report.get(key) for key in KEYS})
    else:
        put(line)
    ctx.exit(PROBLEM if failed else 0)


Report = dict[str, Any]


def _both(celsius: float) -> str:
    from press_monitor.quantities import from_si

    return f"{from_si(celsius, 'degF'):.3f} degF  =  {celsius:.3f} degC"


def _thermocouple(sensor: str, mv: float | None, temp: float | None, cold_junction: float) -> tuple[Report, str]:
    from press_monitor.readings.thermocouple import thermocouple_report

    report = thermocouple_report(sensor, mv, temp, cold_junction)
    line = (
        f"type {report['type']}, cold junction at {report['cold_junction_degC']:.3f} degC: "
        f"{report['mv']:.4f} mV  =  {_both(float(report['temperature_degC']))}"
    )
    return dict(report), line


def _platinum(sensor: str, ohm: float | None, temp: float | None, r0: float | None) -> tuple[Report, str]:
    from press_monitor.readings.pt100 import pt100_report

    at_zero = r0 if r0 is not None else PLATINUM.get(sensor.upper(), 100.0)
    report = pt100_report(ohm, temp, at_zero)
    line = (
        f"{report['type']}: {report['ohm']:.4f} ohm  =  {_both(float(report['temperature_degC']))}"
        f"  (class A within {report['tolerance_A_K']:.2f} K, class B within {report['tolerance_B_K']:.2f} K)"
    )
    return dict(report), line


def _loop(ma: float, span: str) -> tuple[Report, str, bool]:
    from press_monitor.quantities import parse_range
    from press_monitor.readings.loop import classify, loop_report

    low, high, unit = parse_range(span)
    report = loop_report(ma, low, high, unit)
    kind = classify(ma)
    value = report["value"]
    meant = "no value" if value is None else f"{value:.4g} {unit}"
    line = f"4-20 mA over {low:g} to {high:g} {unit}: {ma:g} mA  =  {meant}  (NE 43: {kind.words})"
    return dict(report), line, kind.failure
