"""Finding drivers by name."""

from importlib.metadata import EntryPoint, EntryPoints

import pytest

from drivers import registry
from drivers.base import DriverError
from drivers.registry import driver_class, driver_names, make_driver
from drivers.replay import ReplayDriver
from drivers.simulated import SimulatedDriver
from drivers.text_line import TextLineDriver
from tests.drivers.clocks import HandClock


def test_the_built_in_drivers_are_known() -> None:
    assert {"replay", "simulated", "text-line"} <= set(driver_names())
    assert driver_class("simulated") is SimulatedDriver
    assert driver_class("replay") is ReplayDriver
    assert driver_class("text-line") is TextLineDriver


def test_every_known_driver_can_be_loaded() -> None:
    for name in driver_names():
        assert driver_class(name)


def test_they_are_found_without_the_package_metadata(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(registry, "entry_points", lambda group: EntryPoints())
    assert driver_class("simulated") is SimulatedDriver


def test_another_package_can_add_one_and_cannot_take_a_name(monkeypatch: pytest.MonkeyPatch) -> None:
    def entries(group: str) -> EntryPoints:
        assert group == "press_monitor.drivers"
        return EntryPoints(
            [
                EntryPoint("bench", "drivers.replay:ReplayDriver", group),
                EntryPoint("simulated", "drivers.replay:ReplayDriver", group),
                EntryPoint("broken", "no_such_module:Driver", group),
                EntryPoint("half", "drivers.pacing:Pace", group),
            ]
        )

    monkeypatch.setattr(registry, "entry_points", entries)
    assert driver_class("bench") is ReplayDriver
    assert driver_class("simulated") is SimulatedDriver
    for name, words in (("broken", "cannot be loaded"), ("half", "not a driver")):
        with pytest.raises(DriverError, match=words) as caught:
            driver_class(name)
        assert caught.value.key == "driver"


def test_an_unknown_name_lists_the_known_ones() -> None:
    with pytest.raises(DriverError, match="replay, simulated, text-line") as caught:
        driver_class("crystal ball")
    assert caught.value.key == "driver"


def test_make_hands_the_settings_on() -> None:
    made = make_driver("simulated", {"seed": 5}, HandClock())
    assert isinstance(made, SimulatedDriver) and made.settings.seed == 5
    with pytest.raises(DriverError) as caught:
        make_driver("simulated", {"sead": 5}, HandClock())
    assert caught.value.key == "sead"
