"""The simulated press: its physics against textbooks, its troubles, its determinism."""

import math
import statistics
from collections.abc import Mapping
from itertools import pairwise

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from drivers.base import DriverError
from drivers.press_options import PressSettings, press_settings
from drivers.press_physics import ATMOSPHERE_PSI, Bag, Heat
from drivers.press_troubles import CHANNELS, KINDS, Effects
from drivers.simulated_press import Frame, SimulatedPress

QUIET = {"noise_degF": 0, "noise_psi": 0}
Values = Mapping[str, float | None]


def press(**options: object) -> SimulatedPress:
    return SimulatedPress(press_settings(options))


def run(made: SimulatedPress, minutes: float) -> list[Frame]:
    frames = []
    while made.t <= minutes * 60.0:
        frames.append(made.step())
    return frames


def curve(frames: list[Frame], channel: str) -> list[float]:
    return [value for frame in frames if (value := dict(frame.readings).get(channel)) is not None]


def at(frames: list[Frame], minutes: float) -> Values:
    return dict(next(frame for frame in frames if frame.t >= minutes * 60.0).readings)


# --- physics ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("filled_psi", "heated_psi"), [(25.0, 35.833), (35.0, 48.562)])
def test_a_sealed_bag_follows_the_ideal_gas_law(filled_psi: float, heated_psi: float) -> None:
    """20 -> 100 degC at constant volume: p2 = p1 T2/T1 on absolute pressure and kelvin (ideal gas law)."""
    made = press_settings(
        {"supply": "sealed", "bag_psi": filled_psi, "ambient_degF": 68, "inflate_at_min": 0, "relief_psi": 300}
    )
    bag = Bag(made)
    for second in range(120):
        bag.step(1.0, float(second), 68.0, False, Effects())
    assert bag.pressure == pytest.approx(filled_psi, abs=1e-6)
    second = 120
    while bag.temperature < 212.0:
        bag.step(0.5, float(second), 400.0, False, Effects())
        second += 1
    expected = (heated_psi + ATMOSPHERE_PSI) * (bag.temperature + 459.67) / (212.0 + 459.67) - ATMOSPHERE_PSI
    assert bag.pressure == pytest.approx(expected, abs=2e-3)


def test_the_slab_follows_the_series_for_a_plate_with_a_contact() -> None:
    """Mats held at 300 degF on 44 mm: centre temperature by the eigenvalue series for a plate with convection
    (Incropera, "Fundamentals of Heat and Mass Transfer", one-dimensional transient conduction; from memory)."""
    heat = Heat(PressSettings(), 0.0)
    half, biot = 0.022, 250.0 * 0.022 / 0.25
    alpha = 0.25 / (1150.0 * 1900.0)
    for second in range(1, 5401):
        heat.mats[:] = [300.0, 300.0]
        heat.step(1.0, False, Effects(mat_power=[0.0, 0.0]))
        heat.mats[:] = [300.0, 300.0]
        if second % 900 == 0:
            share = 0.0
            for n in range(8):
                low, high = n * math.pi + 1e-9, n * math.pi + math.pi / 2 - 1e-9
                for _ in range(80):
                    middle = (low + high) / 2
                    low, high = (middle, high) if middle * math.tan(middle) < biot else (low, middle)
                first = 4 * math.sin(low) / (2 * low + math.sin(2 * low))
                share += first * math.exp(-(low**2) * alpha * second / half**2)
            assert heat.at_depth(22.0) == pytest.approx(300.0 - 235.0 * share, abs=2.5)


def test_a_mat_alone_falls_with_its_time_constant() -> None:
    made = press_settings({"thickness_mm": 2, "mat_fall_min": 12, "start_degF": 300})
    heat = Heat(made, 0.0)
    # Two millimetres of rubber store about a ninth of what a mat does.
    seconds = 0
    while heat.mats[0] - 65.0 > (300.0 - 65.0) / math.e:
        heat.step(1.0, False, Effects())
        seconds += 1
    assert 12.0 <= seconds / 60.0 <= 12.0 * 1.12


@pytest.mark.parametrize("control", ["thermostat", "proportional"])
@pytest.mark.parametrize(("thickness", "minutes"), [(16, 12), (44, 18), (70, 25)])
def test_heat_up_takes_the_time_asked_for_and_the_set_point_is_held(control: str, thickness: int, minutes: int) -> None:
    frames = run(press(**QUIET, control=control, thickness_mm=thickness, heat_up_min=minutes), 100)
    for mat in ("inner_mat", "outer_mat"):
        temperatures = curve(frames, mat)
        reached = next(i for i, value in enumerate(temperatures) if value >= 290.0) / 60.0 - 1.0
        assert 0.7 * minutes <= reached <= 1.35 * minutes
        held = temperatures[60 * 60 :]
        assert all(290.0 <= value <= 310.0 for value in held)
        assert statistics.fmean(held) == pytest.approx(300.0, abs=4.0)
        assert max(temperatures) < 312.0


def test_a_coarse_thermostat_swings_as_wide_as_asked() -> None:
    temperatures = curve(run(press(**QUIET, hysteresis_degF=15), 90), "inner_mat")[45 * 60 :]
    assert 283.0 <= min(temperatures) <= 286.5 and 314.0 <= max(temperatures) <= 318.0


def test_a_regulated_bag_stays_near_its_pressure_from_filling_to_cold() -> None:
    pressures = curve(run(press(**QUIET, heat_off_min=60, vent_below_degF=100), 120), "bag")
    assert pressures[14] == 0.0 and pressures[60] == pytest.approx(32.0, abs=0.05)
    assert all(31.5 <= value <= 33.4 for value in pressures[60:])


def test_a_relief_valve_caps_the_warming_bag() -> None:
    pressures = curve(run(press(**QUIET, supply="relief", relief_psi=36), 80), "bag")
    assert max(pressures) < 36.3 and pressures[-1] == pytest.approx(36.0, abs=0.1)
    assert max(curve(run(press(**QUIET, supply="sealed"), 80), "bag")) > 40.0


def test_release_waits_for_the_rubber_and_then_lets_the_bag_down() -> None:
    made = press(**QUIET, heat_off_min=70, vent_below_degF=160, after_min=2, buried_mm=22, channels=["bag", "buried"])
    frames = []
    while not made.finished:
        frames.append(made.step())
    assert made.vented_s is not None and made.vented_s > 80 * 60.0
    before = dict(frames[int(made.vented_s) - 60].readings)
    assert before["bag"] is not None and before["bag"] > 30.0
    assert before["buried"] == pytest.approx(160.0, abs=4.0)
    assert dict(frames[-1].readings)["bag"] == 0.0
    assert frames[-1].t == made.vented_s + 120.0


def test_noise_and_resolution_are_as_asked() -> None:
    made = press(
        noise_degF=0.5,
        noise_psi=0.05,
        heat_on_min=1000,
        inflate_at_min=1000,
        temperature_resolution=0.25,
        pressure_resolution=0.001,
    )
    frames = run(made, 120)
    temperatures, pressures = curve(frames, "outer_mat"), curve(frames, "bag")
    # Rounding to q adds q**2/12 to the variance.
    assert statistics.pstdev(temperatures) == pytest.approx(math.sqrt(0.5**2 + 0.25**2 / 12), rel=0.05)
    assert statistics.pstdev(pressures) == pytest.approx(0.05, rel=0.05)
    assert all(value * 4 == round(value * 4) for value in temperatures)
    assert made.decimals("outer_mat") == 2 and made.decimals("bag") == 3
    lag_1 = statistics.correlation(pressures[:-1], pressures[1:])
    assert abs(lag_1) < 0.05


def test_other_units_say_the_same() -> None:
    us = run(press(**QUIET, temperature_resolution=1e-6, pressure_resolution=1e-6), 20)
    si = run(
        press(
            **QUIET,
            temperature_unit="degC",
            pressure_unit="kPa",
            temperature_resolution=1e-6,
            pressure_resolution=1e-6,
        ),
        20,
    )
    for a, b in zip(us[::60], si[::60], strict=True):
        mine, other = dict(a.readings), dict(b.readings)
        assert other["inner_mat"] == pytest.approx((mine["inner_mat"] - 32) / 1.8, abs=1e-5)
        # 1 psi = 6.894757 kPa (NIST SP 811, B.8).
        assert other["bag"] == pytest.approx(mine["bag"] * 6.894757, abs=1e-4)


def test_all_channels_speak() -> None:
    made = press(channels=list(CHANNELS), noise_degF=0, noise_psi=0)
    values = at(run(made, 10), 10)
    assert list(values) == list(CHANNELS)
    assert values["air"] == 65.0 and abs((values["ram"] or 0) - 1500) < 15
    assert values["inner_mat_current"] == pytest.approx(8.0, abs=0.1)
    assert 65.0 < (values["buried"] or 0) < (values["inner_mat"] or 0)
    assert [made.settings.unit(c) for c in ("ram", "air", "outer_mat_current")] == ["psi", "degF", "A"]


# --- determinism ------------------------------------------------------------------------------------------------


def test_one_seed_gives_one_press() -> None:
    assert run(press(seed=5), 15) == run(press(seed=5), 15)
    assert run(press(seed=5), 15) != run(press(seed=6), 15)


def test_a_channel_more_or_a_trouble_leaves_the_other_digits_alone() -> None:
    plain = run(press(seed=5), 15)
    more = run(press(seed=5, channels=["air", "bag", "inner_mat", "outer_mat"]), 15)
    assert [dict(f.readings)["bag"] for f in plain] == [dict(f.readings)["bag"] for f in more]
    open_probe = run(press(seed=5, faults=[{"at_min": 3, "kind": "open-probe", "channel": "outer_mat"}]), 15)
    assert curve(plain, "inner_mat") == curve(open_probe, "inner_mat")


def test_injecting_is_the_same_as_the_timetable() -> None:
    timed = press(seed=5, faults=[{"at_min": 5, "kind": "burst"}, {"at_min": 7, "kind": "silence", "for_min": 1}])
    told = press(seed=5)
    first = run(told, 4.99)
    told.inject("burst")
    told.inject("silence", at_min=7, for_min=1)
    assert first + run(told, 10) == run(timed, 10)
    assert told.troubles == timed.troubles


# --- troubles ---------------------------------------------------------------------------------------------------


def troubled(minutes: float, kind: str, **parameters: object) -> list[Frame]:
    """A quiet press on which something goes wrong at minute 40."""
    options = {key: parameters.pop(key) for key in list(parameters) if key in ("supply", "channels")}
    return run(press(**QUIET, **options, faults=[{"at_min": 40, "kind": kind, **parameters}]), minutes)


def test_burst() -> None:
    pressures = curve(troubled(42, "burst"), "bag")
    assert pressures[2399] > 32.0
    assert pressures[2405] < 0.2 * pressures[2399]
    assert max(a - b for a, b in pairwise(pressures)) > 5.0


def test_leak_rates_by_law() -> None:
    falls = {}
    for law in ("constant", "linear", "orifice"):
        pressures = curve(troubled(80, "leak", rate_psi_min=0.6, law=law), "bag")
        falls[law] = [pressures[2400 + 60 * m] for m in (0, 1, 20, 39)]
        assert falls[law][0] - falls[law][1] == pytest.approx(0.6, abs=0.06)
    assert falls["constant"][0] - falls["constant"][3] == pytest.approx(0.6 * 39, abs=1.5)
    # Falling in proportion to its own pressure: an exponential of time constant 32 psi / 0.6 psi/min.
    assert falls["linear"][2] == pytest.approx(falls["linear"][0] * math.exp(-20 * 0.6 / 32), abs=1.0)
    assert falls["constant"][3] < falls["orifice"][3] < falls["linear"][3] + 1.0


def test_masked_leak_is_a_saw_tooth() -> None:
    pressures = curve(troubled(70, "masked-leak", rate_psi_min=0.6), "bag")[45 * 60 :]
    assert all(31.5 <= value <= 32.1 for value in pressures)
    rises = sum(b - a > 0.1 for a, b in pairwise(pressures))
    assert 25 * 60 / (rises / 2) == pytest.approx(0.4 / 0.6 * 60, rel=0.35)


@pytest.mark.parametrize(
    ("mat", "dead", "alive"), [("inner", "inner_mat", "outer_mat"), ("outer", "outer_mat", "inner_mat")]
)
def test_dead_mat(mat: str, dead: str, alive: str) -> None:
    frames = troubled(60, "dead-mat", mat=mat, channels=[*CHANNELS])
    assert (at(frames, 50)[dead] or 0) < 200.0
    assert 290.0 < (at(frames, 60)[alive] or 0) < 310.0
    assert abs(at(frames, 50)[f"{dead}_current"] or 0) < 0.2
    fall = (at(frames, 41)[dead] or 0) - (at(frames, 43)[dead] or 0)
    assert 10.0 < fall / 2 < 30.0, "a mat falls by degrees a minute, not at once"


def test_power_lost_and_a_short_blip() -> None:
    lost = at(troubled(55, "power-lost"), 55)
    assert (lost["inner_mat"] or 0) < 200.0 and (lost["outer_mat"] or 0) < 200.0
    blip = curve(troubled(60, "power-lost", for_min=20 / 60), "inner_mat")[40 * 60 :]
    assert min(blip) > 285.0


def test_weak_mat_settles_lower_and_slow_heat_up_is_late() -> None:
    weak = at(troubled(80, "weak-mat", mat="outer", factor=0.4), 80)
    assert (weak["outer_mat"] or 0) < 285.0 and (weak["inner_mat"] or 0) > 290.0
    slow = press(**QUIET, faults=[{"kind": "slow-heat-up", "factor": 0.75}])
    assert max(curve(run(slow, 30), "inner_mat")) < 290.0


def test_lifted_probe_falls_faster_than_any_mat() -> None:
    temperatures = curve(troubled(60, "lifted-probe", channel="inner_mat"), "inner_mat")
    assert temperatures[2399] > 290.0 and temperatures[2430] < 180.0
    assert min(temperatures[2430:]) > 120.0


def test_open_stuck_erratic_and_reversed_probes() -> None:
    opened = troubled(45, "open-probe", channel="outer_mat", for_min=3)
    assert at(opened, 41)["outer_mat"] is None and at(opened, 44)["outer_mat"] is not None
    stuck = run(press(faults=[{"at_min": 30, "kind": "stuck-probe", "channel": "bag"}]), 40)
    assert len(set(curve(stuck, "bag")[1800:])) == 1 and len(set(curve(stuck, "bag")[1200:1800])) > 5
    erratic = curve(troubled(50, "erratic-probe", channel="inner_mat", noise=8), "inner_mat")
    assert statistics.pstdev(erratic[2400:]) > 6.0
    reversed_ = press(**QUIET, faults=[{"kind": "reversed-probe", "channel": "inner_mat"}])
    frames = run(reversed_, 15)
    assert (at(frames, 15)["inner_mat"] or 0) < -80.0 < 0.0 < (at(frames, 15)["outer_mat"] or 0)


def test_forgotten_bag_silence_and_unplugged() -> None:
    late = press(**QUIET, faults=[{"kind": "forgotten-bag", "for_min": 10}])
    frames = run(late, 12)
    assert at(frames, 9.9)["bag"] == 0.0 and (at(frames, 12)["bag"] or 0) > 31.0
    silent = troubled(50, "silence", for_min=2)
    assert {f.t for f in silent if not f.readings} == {float(t) for t in range(2400, 2520)}
    assert not any(f.unplugged for f in silent)
    gone = troubled(50, "unplugged")
    assert {f.t for f in gone if f.unplugged} == {float(t) for t in range(2400, 2460)}


def test_heat_off_early_release_and_ram_drop() -> None:
    off = at(troubled(60, "heat-off"), 60)
    assert (off["inner_mat"] or 0) < 200.0 and (off["bag"] or 0) > 31.0
    early = at(troubled(42, "early-release"), 42)
    assert early["bag"] == 0.0 and (early["inner_mat"] or 0) > 200.0
    ram = troubled(41, "ram-drop", to_psi=300, channels=["ram", "bag"])
    assert abs((at(ram, 41)["ram"] or 0) - 300) < 15


def test_a_trouble_can_be_ended() -> None:
    made = press(**QUIET, faults=[{"at_min": 5, "kind": "silence", "for_min": 60}])
    run(made, 6)
    made.end("silence")
    assert made.step().readings


def test_every_kind_does_what_no_quiet_press_does() -> None:
    quiet = run(press(seed=3, channels=list(CHANNELS)), 45)
    for kind in KINDS:
        parameters = {"at_min": 30} if kind not in ("forgotten-bag", "slow-heat-up") else {}
        frames = run(press(seed=3, channels=list(CHANNELS), faults=[{"kind": kind, **parameters}]), 45)
        assert frames != quiet, kind
        begins = int(parameters.get("at_min", 0) * 60)
        assert frames[:begins] == quiet[:begins], kind


OPTIONS = st.fixed_dictionaries(
    {},
    optional={
        "seed": st.integers(0, 2**63 - 1),
        "interval_s": st.sampled_from([0.3, 1, 7, 60]),
        "thickness_mm": st.floats(2, 400),
        "ambient_degF": st.floats(-60, 90),
        "hold_degF": st.floats(100, 600),
        "heat_up_min": st.floats(1, 240),
        "mat_fall_min": st.floats(2, 120),
        "control": st.sampled_from(["thermostat", "proportional"]),
        "supply": st.sampled_from(["regulated", "relief", "sealed"]),
        "bag_psi": st.floats(0, 150),
        "relief_psi": st.floats(0, 300),
        "faults": st.lists(st.sampled_from([{"kind": kind} for kind in KINDS]), max_size=3),
    },
)


@settings(max_examples=25, deadline=None)
@given(OPTIONS)
@example({"ambient_degF": -47.2, "faults": [{"kind": "reversed-probe"}], "interval_s": 60, "seed": 0})
def test_no_options_make_the_physics_run_away(options: dict[str, object]) -> None:
    made = press(**options)
    for _ in range(120):
        for channel, value in made.step().readings:
            assert value is None or (math.isfinite(value) and -400.0 < value < 2500.0), channel
            assert value is None or channel != "bag" or value > -1.0


@pytest.mark.parametrize(
    ("options", "key"),
    [
        ({"hold_degC": 150}, "hold_degC"),
        ({"seed": 1.5}, "seed"),
        ({"seed": True}, "seed"),
        ({"interval_s": 0}, "interval_s"),
        ({"hold_degF": "300 degF"}, "hold_degF"),
        ({"hold_degF": float("nan")}, "hold_degF"),
        ({"hold_degF": 120, "ambient_degF": 130}, "hold_degF"),
        ({"channels": []}, "channels"),
        ({"channels": ["bag", "bag"]}, "channels"),
        ({"channels": ["tire"]}, "channels"),
        ({"control": "magic"}, "control"),
        ({"supply": "none"}, "supply"),
        ({"temperature_unit": "K"}, "temperature_unit"),
        ({"faults": "burst"}, "faults"),
        ({"faults": [3]}, "faults"),
        ({"faults": [{"at_min": 3}]}, "faults[0].kind"),
        ({"faults": [{"kind": "burst"}, {"kind": "fire"}]}, "faults[1].kind"),
        ({"faults": [{"kind": "leak", "rate_psi_s": 1}]}, "faults[0].rate_psi_s"),
        ({"faults": [{"kind": "leak", "rate_psi_min": -1}]}, "faults[0].rate_psi_min"),
        ({"faults": [{"kind": "dead-mat", "mat": "left"}]}, "faults[0].mat"),
        ({"faults": [{"kind": "burst", "at_min": -1}]}, "faults[0].at_min"),
    ],
)
def test_bad_options_are_named(options: dict[str, object], key: str) -> None:
    with pytest.raises(DriverError) as caught:
        press(**options)
    assert caught.value.key == key


def test_a_bad_injection_is_named_and_changes_nothing() -> None:
    made = press()
    with pytest.raises(DriverError, match="kind"):
        made.inject("fire")
    with pytest.raises(DriverError, match="rate"):
        made.inject("burst", rate=3)
    assert made.troubles == ()
