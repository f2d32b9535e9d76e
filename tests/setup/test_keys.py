"""The list of keys against the reader: a file that holds every key is read, and the reader asks for no other."""

from __future__ import annotations

import re
from collections import defaultdict

import pytest

from drivers.modbus import ModbusDriver
from drivers.options import Options
from drivers.text_line import TextLineDriver
from press_monitor.fitting import fit_press
from press_monitor.setup.keys import MODBUS, REPAIR_FILE, SHOP_FILE, TEXT_LINE, keys
from press_monitor.shop import ShopError, load_repair, load_shop
from press_monitor.tables import Table

# A part of a path that stands for a name, and the name it has in the file below.
NAMES = {"compounds": "NAME", "recipes": "NAME", "presses": "NAME", "repairs": "NAME", "alarms": "KIND", "fits": "NAME"}


@pytest.fixture
def asked(monkeypatch):
    """Every key the reader asked for, by the path of its table, names of the shop's own choosing in capitals."""
    seen = defaultdict(set)
    done = Table.done

    def note(self):
        seen[general(self.path)] |= self._known
        done(self)

    monkeypatch.setattr(Table, "done", note)
    return seen


def general(path):
    parts = [part for part in path if not part.isdigit()]
    for index, part in enumerate(parts[:-1]):
        if part in NAMES and index == 0:
            parts[1] = NAMES[part]
        elif part == "channels" and parts[0] == "presses":
            parts[index + 1] = "CHANNEL"
    return ".".join(parts)


def listed(file):
    """Table path to its keys; a table below a table is a key of it."""
    tables = defaultdict(set)
    for key in keys():
        if key.file == file:
            table, _, name = key.path.rpartition(".")
            tables[table].add(name)
            while table:
                above, _, inner = table.rpartition(".")
                if inner not in ("NAME", "KIND", "CHANNEL"):
                    tables[above].add(inner)
                table = above
    return {table: names for table, names in tables.items() if names}


SHOP = """
[shop]
name = "Juniper Flat Section Repair"
units = "us"
altitude = "300 ft"
ambient = "65 degF"
[compounds.gum]
reference_temperature = "150 degC"
scorch = "2.5 min"
tc50 = "6 min"
tc90 = "12 min"
tc90_at = { "140 degC" = "24 min" }
blow_point = 0.35
reversion = "90 min"
water_activity = 0.5
reversion_activation_energy = "120 kJ/mol"
kind = "one-part"
[recipes.section-300]
hold_temperature = "300 degF"
hold_tolerance = "10 degF"
maximum_temperature = "330 degF"
heat_up_limit = "25 min"
minimum_hold = "60 min"
required_cure = 0.90
release_below = "180 degF"
bag_pressure = "32 psi"
bag_minimum = "28 psi"
bag_maximum = "40 psi"
bag_supply = "relief"
[presses.P1]
driver = "text-line"
recipe = "section-300"
title = "North"
probe_at = "rubber"
port = { vid = "0403", pid = "6001", serial_number = "A10K" }
options = { fields = ["inner_mat[mV]", "terminals[degC]", "bag[mA]", "ram[counts]", "outer_mat[ohm]"] }
[presses.P1.channels.inner_mat]
unit = "degF"
decimals = 1
sensor = "TC-14"
low = "20 degF"
high = "600 degF"
input = "thermocouple"
type = "K"
cold_junction = "terminals"
calibration = { offset = "1 degF", gain = 1.0, date = 2031-05-04, reference = "ice", due = 2032-05-04 }
[presses.P1.channels.terminals]
[presses.P1.channels.bag]
input = "4-20 mA"
range = ["0 psi", "100 psi"]
[presses.P1.channels.ram]
input = "counts"
counts = [0, 4095]
range = ["0 psi", "100 psi"]
[presses.P1.channels.outer_mat]
input = "pt100"
r0 = 100
[alarms.bag-low]
priority = "medium"
on_delay = "30 s"
off_delay = "10 s"
deadband = "1 psi"
[fits.trial]
trial = "trial-7.csv"
trial_sha256 = "{digest}"
fitted_on = "2031-05-04"
compound = "gum"
press = "P1"
diffusivity = "0.115 mm2/s"
diffusivity_low = "0.105 mm2/s"
diffusivity_high = "0.125 mm2/s"
contact_conductance = "500 W/m2/K"
contact_conductance_low = "300 W/m2/K"
contact_conductance_high = "900 W/m2/K"
[horn]
port = "COM5"
line = "dtr"
heartbeat = "10 s"
[phone]
urls = ["ntfys://topic"]
after = "3 min"
repeat = "10 min"
""".replace("{digest}", "0" * 64)
LAYER = """
name = "patch"
thickness = "8 mm"
compound = "gum"
conductivity = "0.25 W/m/K"
density = "1150 kg/m3"
heat_capacity = "1900 J/kg/K"
"""
REPAIR = """
start_temperature = "65 degF"
contact_conductance = "500 W/m2/K"
mats_overlap = true
faces = { inner = "mat", outer = "air" }
"""


def test_the_list_is_what_the_reader_asks_for_no_more_and_no_less(tmp_path, asked):
    path = tmp_path / "shop.toml"
    layers = f"[repairs.one]{REPAIR}[[repairs.one.layers]]{LAYER}"
    stacks = f"[repairs.two]{REPAIR}[[repairs.two.stacks]]\nname = 'edge'\n[[repairs.two.stacks.layers]]{LAYER}"
    path.write_text(SHOP + layers + stacks, "utf-8")
    shop = load_shop(path)
    fit_press(shop.presses["P1"], shop, lambda: 0.0)
    for name, text in (("a", f"{REPAIR}[[layers]]{LAYER}"), ("b", f"[[stacks]]\nname = 'x'\n[[stacks.layers]]{LAYER}")):
        (tmp_path / name).write_text(text, "utf-8")
        load_repair(tmp_path / name, shop)
    repair = {table: asked.pop(table) for table in ("layers", "stacks", "stacks.layers", "faces")}
    repair[""] = {name for name in asked[""] if name in listed(REPAIR_FILE)[""]}
    asked[""] -= repair[""]
    for told, file in ((asked, SHOP_FILE), (repair, REPAIR_FILE)):
        assert {table: sorted(names) for table, names in told.items()} == {
            table: sorted(names) for table, names in listed(file).items()
        }


def test_required_keys_are_required(tmp_path):
    path = tmp_path / "shop.toml"
    for key in keys():
        if key.file != SHOP_FILE or not key.required or "repairs" in key.path or "fits" in key.path:
            continue
        table, _, name = key.path.rpartition(".")
        if not table:
            continue
        head = table.replace("compounds.NAME", "compounds.gum").replace("recipes.NAME", "recipes.section-300")
        head = f"[{head.replace('presses.NAME', 'presses.P1')}]"
        before, _, after = SHOP.partition(head)
        first, _, rest = after.partition(f"\n{name} = ")
        path.write_text(before + head + first + "\n" + rest.partition("\n")[2], "utf-8")
        with pytest.raises(ShopError, match=rf"{name}: (is missing|wants)"):
            load_shop(path)


def options_asked(monkeypatch, driver, *settings):
    """Every option a driver asks for, given these settings one after the other; of a channel by its own table."""
    seen, finish = set(), Options.finish

    def note(self):
        above = re.sub(r"^channels\..*\.$", "channels.CHANNEL.", self._where)
        seen.update(above + name for name in self._asked if "[" not in above)
        finish(self)

    monkeypatch.setattr(Options, "finish", note)
    for each in settings:
        driver(each, lambda: 0.0)
    return seen


LINE = {"port": "loop://", "labels": {"P": "bag[psi]"}}
ASKED = {"port": "loop://", "ask": "?", "checksum": "xor"}


def test_the_options_of_text_line_are_those_it_asks_for(monkeypatch):
    seen = options_asked(
        monkeypatch,
        TextLineDriver,
        {**LINE, "pattern": "(?P<P>.*)"},
        {**ASKED, "fields": ["bag[psi]"]},
        {**ASKED, "json": {"p": "bag[psi]"}},
        {"port": "loop://", "polls": [{"ask": "?", "fields": ["bag[psi]"]}]},
    )
    assert seen == {key.path for key in keys() if key.file == TEXT_LINE}


def test_the_options_of_modbus_are_those_it_asks_for(monkeypatch):
    bag = {"function": "input", "address": 40, "type": "float32", "unit": "psi"}
    by_map = {"map": "eight-loop-thermocouple", "point": "loop-1"}
    seen = options_asked(monkeypatch, ModbusDriver, {"port": "loop://", "channels": {"bag": bag, "inner_mat": by_map}})
    # Of a point only the map's keys are left when the channel is read.
    seen |= {f"channels.CHANNEL.{name}" for name in by_map}
    assert seen == {key.path for key in keys() if key.file == MODBUS}


def test_every_key_has_a_word_and_an_example():
    every = list(keys())
    assert len({(key.file, key.path) for key in every}) == len(every) > 100
    assert all(key.words and key.example for key in every)
