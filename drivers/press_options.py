"""The settings of a simulated press, read from a shop file's options."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from drivers.options import Options
from drivers.press_troubles import CHANNELS, Trouble, read_trouble

__all__ = ["PressSettings", "read_press"]

_TEMPERATURES = ("degF", "degC")
_PRESSURES = ("psi", "kPa", "bar")


@dataclass(frozen=True, slots=True)
class PressSettings:
    """A simulated press and its cycle; the option keys are the field names.

    Attributes:
        seed: of all noise and of the small differences between presses.
        interval_s: between samples.
        channels: which are read, see `CHANNELS`.
        ambient_degF, start_degF: air, and rubber and mats at the start (default: as the air).
        thickness_mm: of the rubber between the mats; `buried_mm` is the buried probe's depth from the inner mat
            (default: the middle).
        hold_degF: the mats' set point; heat comes on at `heat_on_min` and is within 5 degF of it after
            `heat_up_min` more.
        control: ``thermostat`` (on and off at ±`hysteresis_degF`) or ``proportional``.
        mat_fall_min: time constant of a mat alone that lost its heat.
        supply: of the bag: ``regulated`` (topped up when `regulator_band_psi` below, lets off 1 psi above),
            ``relief`` (valve shut once filled, relief at `relief_psi`) or ``sealed``.
        bag_psi: filled to this at `inflate_at_min`.
        noise_degF, noise_psi: standard deviation of a reading.
        temperature_unit, pressure_unit: of the samples; `temperature_resolution` and `pressure_resolution` in them.
        heat_off_min: when the heat is switched off, None for never; then the bag is vented once mats and rubber
            are below `vent_below_degF`.
        after_min: how long the cycle is worth reading once the bag is down.
        faults: the timetable of troubles.
    """

    seed: int = 1
    interval_s: float = 1.0
    channels: tuple[str, ...] = CHANNELS[:3]
    ambient_degF: float = 65.0
    start_degF: float = 65.0
    thickness_mm: float = 44.0
    buried_mm: float = 22.0
    hold_degF: float = 300.0
    heat_on_min: float = 1.0
    heat_up_min: float = 18.0
    control: str = "thermostat"
    hysteresis_degF: float = 4.0
    mat_fall_min: float = 10.0
    supply: str = "regulated"
    bag_psi: float = 32.0
    inflate_at_min: float = 0.25
    relief_psi: float = 36.0
    regulator_band_psi: float = 0.4
    noise_degF: float = 0.3
    noise_psi: float = 0.03
    temperature_unit: str = "degF"
    pressure_unit: str = "psi"
    temperature_resolution: float = 0.1
    pressure_resolution: float = 0.01
    heat_off_min: float | None = None
    vent_below_degF: float = 150.0
    after_min: float = 1.5
    faults: tuple[Trouble, ...] = ()

    def unit(self, channel: str) -> str:
        """The unit's text of a channel's samples."""
        if channel in ("bag", "ram"):
            return self.pressure_unit
        return "A" if channel.endswith("current") else self.temperature_unit


def read_press(options: Options) -> PressSettings:
    """Read the settings out of a table; the caller calls `options.finish`. Raises `DriverError` naming the key."""
    base = PressSettings()

    def number(key: str, low: float, high: float) -> float:
        return options.number(key, getattr(base, key), low=low, high=high)

    channels = options.texts("channels", base.channels)
    if not channels or len(set(channels)) < len(channels) or not set(channels) <= set(CHANNELS):
        raise options.refuse("channels", f"wants different names out of {', '.join(CHANNELS)}; got {list(channels)!r}")
    ambient = number("ambient_degF", -60.0, 150.0)
    thickness = number("thickness_mm", 2.0, 400.0)
    settings = PressSettings(
        seed=options.whole("seed", base.seed, low=0, high=2**63 - 1),
        interval_s=number("interval_s", 0.1, 60.0),
        channels=channels,
        ambient_degF=ambient,
        start_degF=options.number("start_degF", ambient, low=-60.0, high=600.0),
        thickness_mm=thickness,
        buried_mm=options.number("buried_mm", thickness / 2.0, low=0.0, high=thickness),
        hold_degF=number("hold_degF", 100.0, 600.0),
        heat_on_min=number("heat_on_min", 0.0, 10_000.0),
        heat_up_min=number("heat_up_min", 1.0, 240.0),
        control=options.text("control", base.control, among=("thermostat", "proportional")),
        hysteresis_degF=number("hysteresis_degF", 0.1, 50.0),
        mat_fall_min=number("mat_fall_min", 2.0, 120.0),
        supply=options.text("supply", base.supply, among=("regulated", "relief", "sealed")),
        bag_psi=number("bag_psi", 0.0, 150.0),
        inflate_at_min=number("inflate_at_min", 0.0, 10_000.0),
        relief_psi=number("relief_psi", 0.0, 300.0),
        regulator_band_psi=number("regulator_band_psi", 0.01, 20.0),
        noise_degF=number("noise_degF", 0.0, 100.0),
        noise_psi=number("noise_psi", 0.0, 50.0),
        temperature_unit=options.text("temperature_unit", base.temperature_unit, among=_TEMPERATURES),
        pressure_unit=options.text("pressure_unit", base.pressure_unit, among=_PRESSURES),
        temperature_resolution=number("temperature_resolution", 1e-6, 50.0),
        pressure_resolution=number("pressure_resolution", 1e-6, 50.0),
        heat_off_min=options.maybe("heat_off_min", low=0.0),
        vent_below_degF=number("vent_below_degF", 0.0, 1000.0),
        after_min=number("after_min", 0.0, 600.0),
        faults=tuple(read_trouble(given, f"faults[{n}].") for n, given in enumerate(options.tables("faults"))),
    )
    if settings.hold_degF <= ambient + 5.0:
        raise options.refuse("hold_degF", f"must be above ambient_degF ({ambient:g})")
    return settings


def press_settings(given: Mapping[str, object]) -> PressSettings:
    """Read a table that holds nothing else. Raises `DriverError` naming the key."""
    options = Options(given)
    settings = read_press(options)
    options.finish()
    return settings
