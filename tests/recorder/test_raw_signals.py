"""Raw signals from a line of text to the integer kept: shop file, driver, conversion, resolution, all of it.

References: thermocouple-its90 (PyPI, from NIST's tables); Pt100 from the table of IEC 60751; 4-20 mA by its own
definition, with the limits of NAMUR NE 43.
"""

from __future__ import annotations

import time

import pytest
import thermocouple_its90

from press_monitor.fitting import fit_press
from press_monitor.readings.types import Quality
from press_monitor.shop import load_shop
from tests.shopfiles import SHOP

PRESS = """
[presses.P2]
driver = "text-line"
recipe = "section-300"
port = "loop://"
[presses.P2.options]
fields = ["inner_mat[mV]", "outer_mat[mV]", "terminals[degC]", "bag[mA]", "ram[counts]", "buried[ohm]", "air[degF]"]
delimiter = ";"
decimal = ","
[presses.P2.channels.inner_mat]
input = "thermocouple"
type = "K"
cold_junction = "terminals"
[presses.P2.channels.outer_mat]
input = "thermocouple"
type = "K"
cold_junction = "25 degC"
[presses.P2.channels.terminals]
unit = "degC"
[presses.P2.channels.bag]
input = "4-20 mA"
range = ["0 psi", "100 psi"]
[presses.P2.channels.ram]
input = "counts"
counts = [0, 4095]
range = ["0 psi", "3000 psi"]
decimals = 0
[presses.P2.channels.buried]
input = "pt100"
unit = "degC"
[presses.P2.channels.air]
"""


@pytest.fixture
def kept(tmp_path):
    """Says a line to the driver and gives what is kept of it, by channel."""
    path = tmp_path / "shop.toml"
    path.write_text(SHOP + PRESS, "utf-8")
    shop = load_shop(path)
    fitted = fit_press(shop.presses["P2"], shop, time.monotonic)
    reader = fitted.driver._reader
    reader.feed(b"\n", 0.0)

    def say(line):
        done = fitted.conditioner.condition(reader.feed(line.encode() + b"\n", 1.0))
        return {each.channel: each for each in done}

    return say


def values(kept):
    return {name: done.n for name, done in kept.items()}


def test_every_raw_signal_becomes_what_it_means(kept):
    # 150 degC against terminals at 23.5 degC, and against the fixed 25 degC.
    emf = thermocouple_its90.get("K").emf
    inner, outer = emf(150.0) - emf(23.5), emf(150.0) - emf(25.0)
    line = f"{inner:.6f};{outer:.6f} mV;23,5;9,12;2047,5;157,33;68,0".replace(".", ",")
    assert values(kept(line)) == {
        "inner_mat": 3020,  # 302.0 degF
        "outer_mat": 3020,
        "terminals": 235,
        "bag": 3200,  # (9.12 - 4) / 16 of 100 psi is 32 psi
        "ram": 1500,
        "buried": 1500,  # 157.33 ohm is 150 degC (IEC 60751, table 1)
        "air": 680,
    }


def test_without_its_cold_junction_a_thermocouple_has_no_value(kept):
    told = kept("5,2;5,2;OPEN;12;0;100;68")
    assert told["inner_mat"].n is None and "terminals" in told["inner_mat"].words
    assert told["outer_mat"].n is not None


@pytest.mark.parametrize(
    ("current", "n"),
    [("4", 0), ("20", 10_000), ("3,8", -125), ("20,48", 10_300), ("3,5", None), ("21,5", None), ("0", None)],
)
def test_currents_beyond_ne_43_are_faults_of_the_sensor(kept, current, n):
    told = kept(f"5;5;23;{current};0;100;68")["bag"]
    assert told.n == n
    assert (told.quality is Quality.GOOD) == (n is not None)


def test_an_open_wire_is_missing_not_hot(kept):
    told = kept("----;5;23;12;0;OPEN;68")
    assert told["inner_mat"].quality is Quality.MISSING and told["buried"].quality is Quality.MISSING
