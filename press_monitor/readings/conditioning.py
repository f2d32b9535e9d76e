"""From an instrument's sample to the integer kept in the record, and from that integer to what the watch sees.

The way there: raw signal, conversion, the channel's unit, calibration, limits, resolution. The record keeps the
integer; the watch judges exactly what the record says, so that a replay of the record judges the same.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from drivers.base import Fault, Sample
from press_monitor.quantities import Dimension, QuantityError, dimension_of, from_si, to_si
from press_monitor.readings import pt100
from press_monitor.readings.loop import CurrentClass, classify
from press_monitor.readings.setup import ChannelSetup, Direct, LoopInput, Pt100Input, ThermocoupleInput
from press_monitor.readings.thermocouple import thermocouple
from press_monitor.readings.types import MISSING, Quality, Reading, SignalError

__all__ = ["Conditioned", "Conditioner", "PressConditioner", "reading_of"]

_LARGEST = 2**53
"""Integers beyond this are not exact as floats, and no channel means them."""

_FAULT_WORDS = {
    Fault.OPEN: "sensor broken or unplugged",
    Fault.NO_ANSWER: "the instrument does not answer",
    Fault.GARBLED: "what came cannot be understood",
    Fault.UNPLUGGED: "the instrument is unplugged",
}


@dataclass(frozen=True, slots=True)
class Conditioned:
    """One sample made ready for the record.

    Attributes:
        channel: its name.
        at: monotonic s, as sampled.
        n: the value is n / 10**decimals in the channel's unit; None where there is none.
        quality: GOOD, or why there is no value: MISSING (a fault) or OUT_OF_RANGE (an impossible number).
        fault: the fault behind MISSING, else None.
        words: why there is no value, one plain line; empty where there is one.
    """

    channel: str
    at: float
    n: int | None
    quality: Quality = Quality.GOOD
    fault: Fault | None = None
    words: str = ""


def reading_of(n: int | None, unit: str, decimals: int) -> Reading:
    """The reading the watch sees for a kept integer: exactly ``to_si(n / 10**decimals, unit)``; None is MISSING."""
    return MISSING if n is None else Reading(to_si(n / 10**decimals, unit))


class _NoValue(Exception):
    """Why a sample has no value."""

    def __init__(self, words: str, fault: Fault | None) -> None:
        super().__init__(words)
        self.words, self.fault = words, fault


class Conditioner:
    """Makes one channel's samples ready for the record. Keeps no state: the same sample, the same answer."""

    def __init__(self, setup: ChannelSetup) -> None:
        self.setup = setup
        self._low, self._high = setup.limits
        self._scale: int = 10**setup.decimals

    def condition(self, sample: Sample, cold_junction: float | None = None) -> Conditioned:
        """The integer for a sample, or why there is none. Never raises for anything an instrument can say.

        Args:
            sample: of this channel.
            cold_junction: degC now, for a thermocouple whose cold junction is a channel; None where unknown.
        """
        try:
            n = self._count(sample, cold_junction)
        except _NoValue as reason:
            quality = Quality.MISSING if reason.fault is not None else Quality.OUT_OF_RANGE
            return Conditioned(self.setup.name, sample.at, None, quality, reason.fault, reason.words)
        return Conditioned(self.setup.name, sample.at, n)

    def count(self, sample: Sample) -> int | None:
        """The integer alone, of a channel that needs no cold junction's value; None where there is none."""
        try:
            return self._count(sample, None)
        except _NoValue:
            return None

    def _count(self, sample: Sample, cold_junction: float | None) -> int:
        value = self._calibrated(sample, cold_junction)
        if not self._low <= value <= self._high:
            limit = f"{self._low:g} to {self._high:g} {self.setup.unit}"
            raise _NoValue(f"{value:.6g} {self.setup.unit} is not possible here ({limit} is)", None)
        if abs(value) * self._scale > _LARGEST:
            raise _NoValue(f"{value:.6g} {self.setup.unit} is too large to keep", None)
        return round(value * self._scale)

    def _calibrated(self, sample: Sample, cold_junction: float | None) -> float:
        if sample.fault is not None:
            raise _NoValue(_FAULT_WORDS[sample.fault], sample.fault)
        if sample.value is None or not math.isfinite(sample.value):
            raise _NoValue(f"{sample.value} is no number", Fault.GARBLED)
        value, unit = self._converted(sample.value, sample.unit, cold_junction)
        value = _in_unit(value, unit, self.setup.unit)
        calibration = self.setup.calibration
        return value if calibration is None else calibration.apply(value)

    def _converted(self, raw: float, unit: str, cold_junction: float | None) -> tuple[float, str]:
        """The quantity itself with its unit."""
        conversion = self.setup.conversion
        if isinstance(conversion, Direct):
            return raw, unit
        if isinstance(conversion, ThermocoupleInput):
            return self._from_emf(conversion, _in_unit(raw, unit, "mV"), cold_junction), "degC"
        if isinstance(conversion, Pt100Input):
            ohm = _in_unit(raw, unit, "ohm")
            try:
                return pt100.temperature(ohm, conversion.r0), "degC"
            except SignalError as error:
                # an open circuit reads as an endless resistance: beyond anything the sensor can reach
                opened = Fault.OPEN if ohm > pt100.resistance(pt100.HIGHEST, conversion.r0) else None
                raise _NoValue(str(error), opened) from None
        if isinstance(conversion, LoopInput):
            return self._from_loop(conversion, _in_unit(raw, unit, "mA")), conversion.unit
        return conversion.value(raw), conversion.unit

    @staticmethod
    def _from_emf(conversion: ThermocoupleInput, emf: float, cold_junction: float | None) -> float:
        if conversion.cold_junction_channel is not None:
            if cold_junction is None:
                raise _NoValue(f"its cold junction, {conversion.cold_junction_channel}, has no value", Fault.OPEN)
            cold = cold_junction
        else:
            cold = conversion.cold_junction or 0.0
        try:
            return thermocouple(conversion.type).temperature(emf, cold)
        except SignalError as error:
            raise _NoValue(str(error), None) from None

    @staticmethod
    def _from_loop(conversion: LoopInput, milliampere: float) -> float:
        kind = classify(milliampere)
        if kind is not CurrentClass.MEASURING:
            raise _NoValue(f"{milliampere:.2f} mA is {kind.value}", Fault.OPEN if kind.failure else None)
        return conversion.loop.value(milliampere)


class PressConditioner:
    """All channels of one press; it remembers the cold junctions that thermocouples of the press need.

    Raises `SignalError` for two setups of one name, or a cold-junction channel that is not there or no temperature.
    """

    COLD_JUNCTION_HOLDS = 60.0
    """Seconds for which a cold junction's last value is used: terminals warm and cool slowly."""

    def __init__(self, setups: Iterable[ChannelSetup]) -> None:
        self._conditioners: dict[str, Conditioner] = {}
        for setup in setups:
            if setup.name in self._conditioners:
                raise SignalError(f"two channels are called {setup.name}")
            self._conditioners[setup.name] = Conditioner(setup)
        self._cold_for: dict[str, str] = {}
        for setup in self.setups:
            cold = _cold_channel(setup)
            if cold is not None:
                self._cold_for[setup.name] = self._checked_cold(setup.name, cold)
        self._colds = set(self._cold_for.values())
        self._last_cold: dict[str, tuple[float, float]] = {}
        self._in_order = tuple(self._conditioners.values())

    @property
    def setups(self) -> tuple[ChannelSetup, ...]:
        """The channels in the order given."""
        return tuple(conditioner.setup for conditioner in self._conditioners.values())

    def condition(self, samples: Iterable[Sample]) -> list[Conditioned]:
        """What came together, made ready: cold junctions first. Samples of channels not set up are left out."""
        known = [sample for sample in samples if sample.channel in self._conditioners]
        known.sort(key=lambda sample: sample.channel not in self._colds)
        return [self._condition(sample) for sample in known]

    def counts(self, samples: Sequence[Sample | None]) -> tuple[int | None, ...]:
        """The integers of one sample or none a channel, in the order of the setups; None where there is no value."""
        if not self._colds:
            each = zip(self._in_order, samples, strict=True)
            return tuple([None if sample is None else conditioner.count(sample) for conditioner, sample in each])
        ready = {done.channel: done.n for done in self.condition(sample for sample in samples if sample is not None)}
        return tuple(map(ready.get, self._conditioners))

    def _condition(self, sample: Sample) -> Conditioned:
        conditioner = self._conditioners[sample.channel]
        done = conditioner.condition(sample, self._cold_junction(sample))
        if sample.channel in self._colds and done.n is not None:
            setup = conditioner.setup
            self._last_cold[sample.channel] = (sample.at, reading_of(done.n, setup.unit, setup.decimals).value)
        return done

    def _cold_junction(self, sample: Sample) -> float | None:
        cold = self._last_cold.get(self._cold_for.get(sample.channel, ""))
        if cold is None or abs(sample.at - cold[0]) > self.COLD_JUNCTION_HOLDS:
            return None
        return cold[1]

    def _checked_cold(self, name: str, cold: str) -> str:
        setup = self._conditioners[cold].setup if cold in self._conditioners else None
        if setup is None:
            raise SignalError(f"{name}: its cold junction, {cold}, is not a channel of this press")
        if dimension_of(setup.unit) is not Dimension.TEMPERATURE:
            raise SignalError(f"{name}: its cold junction, {cold}, is kept in {setup.unit}, which is no temperature")
        if _cold_channel(setup) is not None:
            raise SignalError(f"{name}: its cold junction, {cold}, needs a cold junction itself")
        return cold


def _cold_channel(setup: ChannelSetup) -> str | None:
    conversion = setup.conversion
    return conversion.cold_junction_channel if isinstance(conversion, ThermocoupleInput) else None


def _in_unit(value: float, unit: str, wanted: str) -> float:
    """A value in another unit; an instrument that names no unit is taken to give the wanted one."""
    if unit in ("", wanted):
        return value
    try:
        fits = dimension_of(unit) is dimension_of(wanted)
    except QuantityError:
        fits = False
    if not fits:
        raise _NoValue(f"the instrument gives {unit!r}, and {wanted} is wanted", Fault.GARBLED)
    return from_si(to_si(value, unit), wanted)
