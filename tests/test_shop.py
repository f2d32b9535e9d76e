"""The shop file and the repair file: the design's examples to the right SI values, and every bad file in one line."""

from __future__ import annotations

import contextlib
import re
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from press_monitor.cure.layers import FaceKind
from press_monitor.shop import RepairFile, Shop, ShopError, load_repair, load_shop, repair_from_text
from press_monitor.watch.recipe import BagSupply

# Both files word for word as the design's command-line contract gives them.
SHOP = """\
[shop]
name = "Juniper Flat Section Repair"       # invented
units = "us"
# optional: altitude = "300 ft", ambient = "65 degF"
[compounds.section-gum]
reference_temperature = "150 degC"
scorch = "2.5 min"
tc50 = "6 min"
tc90 = "12 min"
activation_energy = "100 kJ/mol"           # or tc90_at = { "140 degC" = "24 min" }
blow_point = 0.35                           # state of cure; the shop's own, found by sectioning
reversion = "90 min"                        # equivalent minutes at the reference temperature
# optional: water_activity = 0.5, reversion_activation_energy, kind = "two-part"
[recipes.section-300]
hold_temperature = "300 degF"
hold_tolerance = "10 degF"
maximum_temperature = "330 degF"
heat_up_limit = "25 min"
minimum_hold = "60 min"
required_cure = 0.90
release_below = "180 degF"                  # hottest modelled point
bag_pressure = "32 psi"
bag_minimum = "28 psi"
bag_maximum = "40 psi"
# optional: bag_supply = "regulated" | "sealed" | "relief"
[presses.P1]
driver = "simulated"
recipe = "section-300"
# optional: probe_at = "rubber" | "in-mat", port, channels, options
"""
REPAIR = """\
[[layers]]
name = "repair patch"
thickness = "8 mm"
compound = "section-gum"     # uncured; leave out for vulcanised casing
[[layers]]
name = "casing"
thickness = "22 mm"
[[layers]]
name = "filler rubber"
thickness = "14 mm"
compound = "section-gum"
"""
STACKS = """\
start_temperature = "72 degF"
contact_conductance = "300 W/m2/K"
mats_overlap = true
[faces]
inner = "mat"
outer = "air"
[[stacks]]
name = "injury centre"
[[stacks.layers]]
name = "patch"
thickness = "10 mm"
compound = "section-gum"
[[stacks.layers]]
name = "filler"
thickness = "1.25 in"
compound = "section-gum"
conductivity = "0.21 W/m/K"
density = "1120 kg/m3"
heat_capacity = "2000 J/kg/K"
[[stacks]]
name = "skive edge"
[[stacks.layers]]
name = "patch"
thickness = "4 mm"
compound = "section-gum"
[[stacks.layers]]
name = "casing"
thickness = "30 mm"
"""
PSI = 6894.757293168  # Pa, NIST SP 811 appendix B.8


def near(value: float) -> object:
    return pytest.approx(value, rel=1e-9)


def shop_of(tmp_path: Path, text: str) -> Shop:
    path = tmp_path / "shop.toml"
    path.write_text(text, "utf-8")
    return load_shop(path)


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    return shop_of(tmp_path, SHOP)


def refused(tmp_path: Path, text: str | bytes, *, repair: bool = False) -> ShopError:
    """The refusal of a file, after a look at its shape: one line that begins with the file and its line."""
    path = tmp_path / ("repair.toml" if repair else "bad.toml")
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    shop = shop_of(tmp_path, SHOP) if repair else None
    with pytest.raises(ShopError) as caught:
        load_shop(path) if shop is None else load_repair(path, shop)
    error = caught.value
    assert "\n" not in str(error) and "\r" not in str(error) and len(str(error)) < 400 + len(str(path))
    place = f"{path}:{error.line}: " if error.line else f"{path}: "
    key = error.key if error.key is None or error.key.isprintable() else repr(error.key)
    assert str(error).startswith(place + (f"{key}: " if key else ""))
    return error


def line_of(text: str, words: str, nth: int = 1) -> int:
    """The line on which `words` stand for the nth time."""
    found = [n for n, line in enumerate(text.splitlines(), start=1) if words in line]
    return found[nth - 1]


# --- the examples -------------------------------------------------------------------------------------------------


def test_the_example_shop_reads_as_si(shop: Shop) -> None:
    assert (shop.name, shop.units.name, shop.altitude) == ("Juniper Flat Section Repair", "us", 0.0)
    gum = shop.compounds["section-gum"]
    assert (gum.name, gum.reference_temperature, gum.judged) == ("section-gum", 150.0, True)
    assert (gum.scorch, gum.tc50, gum.tc90, gum.reversion) == (150.0, 360.0, 720.0, 5400.0)
    assert (gum.activation_energy, gum.blow_point, gum.water_activity) == (100_000.0, 0.35, 0.5)
    recipe = shop.recipe("section-300")
    assert recipe.hold_temperature == near((300.0 - 32.0) / 1.8)
    assert recipe.hold_tolerance == near(10.0 / 1.8)  # a difference
    assert recipe.band_low == near((290.0 - 32.0) / 1.8) and recipe.band_high == near((310.0 - 32.0) / 1.8)
    assert recipe.maximum_temperature == near((330.0 - 32.0) / 1.8)
    assert recipe.release_below == near((180.0 - 32.0) / 1.8)
    assert (recipe.heat_up_limit, recipe.minimum_hold, recipe.required_cure) == (1500.0, 3600.0, 0.90)
    pressures = (recipe.bag_pressure, recipe.bag_minimum, recipe.bag_maximum)
    assert pressures == (near(32 * PSI), near(28 * PSI), near(40 * PSI))
    assert recipe.bag_supply is BagSupply.REGULATED
    press = shop.presses["P1"]
    assert (press.driver, press.recipe, press.probe_at) == ("simulated", "section-300", "rubber")
    assert shop.press_for("section-300") is press and shop.repairs == {}


def test_the_optional_keys_read_too(tmp_path: Path) -> None:
    text = SHOP.replace('units = "us"', 'units = "si"\naltitude = "300 ft"\nambient = "65 degF"')
    text = text.replace('reversion = "90 min"', 'reversion = "90 min"\nwater_activity = 0.7\nkind = "two-part"')
    text = text.replace('bag_maximum = "40 psi"', 'bag_maximum = "2.8 bar"\nbag_supply = "relief"')
    text = text.replace('driver = "simulated"', 'driver = "text-line"\nport = "/dev/ttyUSB0"\nprobe_at = "in-mat"')
    text += "[presses.P1.options]\nseed = 7\n[repairs.shoulder]\n" + REPAIR.replace("[[", "[[repairs.shoulder.")
    shop = shop_of(tmp_path, text)
    assert shop.altitude == near(91.44) and shop.ambient == near((65.0 - 32.0) / 1.8) and shop.units.name == "si"
    gum = shop.compounds["section-gum"]
    assert (gum.water_activity, gum.judged) == (0.7, False)
    assert shop.recipe("section-300").bag_supply is BagSupply.RELIEF
    assert shop.recipe("section-300").bag_maximum == near(280_000.0)
    press = shop.presses["P1"]
    assert press.probe_at == "in-mat" and dict(press.options) == {"seed": 7, "port": "/dev/ttyUSB0"}
    preset = shop.repairs["shoulder"]
    assert repair_from_text(shop.repair_texts["shoulder"], shop) == preset
    assert [layer.thickness for layer in preset.repair.stacks[0].layers] == [near(0.008), near(0.022), near(0.014)]


def test_tc90_at_two_temperatures_gives_the_energy(tmp_path: Path) -> None:
    text = SHOP.replace('activation_energy = "100 kJ/mol" ', 'tc90_at = { "140 degC" = "24 min" } ')
    energy = shop_of(tmp_path, text).compounds["section-gum"].activation_energy
    # Arrhenius: E = R ln 2 / (1/413.15 - 1/423.15)
    assert energy == pytest.approx(8.314462618 * 0.6931471805599453 / (1 / 413.15 - 1 / 423.15), rel=1e-9)


def test_the_example_repair_reads_as_si(shop: Shop) -> None:
    found = repair_from_text(REPAIR, shop)
    assert isinstance(found, RepairFile) and found.mats_overlap is None
    (stack,) = found.repair.stacks
    assert [layer.name for layer in stack.layers] == ["repair patch", "casing", "filler rubber"]
    assert [layer.thickness for layer in stack.layers] == [near(0.008), near(0.022), near(0.014)]
    assert [layer.uncured for layer in stack.layers] == [True, False, True]
    assert all(
        (layer.conductivity, layer.density, layer.heat_capacity) == (0.25, 1150.0, 1900.0) for layer in stack.layers
    )
    assert found.repair.inner is found.repair.outer is FaceKind.MAT and found.repair.start_temperature is None
    assert found.repair.contact_conductance is None


def test_stacks_and_every_option_read_as_si(shop: Shop) -> None:
    found = repair_from_text(STACKS, shop)
    assert found.mats_overlap is True
    repair = found.repair
    assert [stack.name for stack in repair.stacks] == ["injury centre", "skive edge"]
    filler = repair.stacks[0].layers[1]
    assert (filler.thickness, filler.conductivity) == (near(0.03175), 0.21)
    assert (filler.density, filler.heat_capacity) == (1120.0, 2000.0)
    assert (repair.inner, repair.outer, repair.contact_conductance) == (FaceKind.MAT, FaceKind.AIR, 300.0)
    assert repair.start_temperature == near((72.0 - 32.0) / 1.8)


@pytest.mark.parametrize("change", [lambda t: "\ufeff" + t, lambda t: t.replace("\n", "\r\n")], ids=["bom", "crlf"])
def test_windows_files_read_the_same(tmp_path: Path, shop: Shop, change) -> None:
    path = tmp_path / "other.toml"
    path.write_bytes(change(SHOP).encode())
    again = load_shop(path)
    assert (again.compounds, again.recipes, again.presses) == (shop.compounds, shop.recipes, shop.presses)


# --- bad shop files -------------------------------------------------------------------------------------------------

REQUIRED = {
    "shop": ["name", "units"],
    "compounds.section-gum": [
        "reference_temperature", "scorch", "tc50", "tc90", "activation_energy", "blow_point", "reversion",
    ],
    "recipes.section-300": [
        "hold_temperature", "hold_tolerance", "maximum_temperature", "heat_up_limit", "minimum_hold", "required_cure",
        "release_below", "bag_pressure", "bag_minimum", "bag_maximum",
    ],
    "presses.P1": ["driver", "recipe"],
}  # fmt: skip
KEYS = [(table, key) for table, keys in REQUIRED.items() for key in keys]
QUANTITIES = {
    key
    for table, keys in REQUIRED.items()
    for key in keys
    if table not in ("shop", "presses.P1") and key not in ("blow_point", "required_cure")
}


NO_QUANTITIES = [
    '"3 furlongs"', '"3 kg"', "3", "3.5", "true", '"3"', '"degF"', '""', '"nan min"', '"1e999 s"', "[1]", "1979-05-27",
]  # fmt: skip


def without(key: str, text: str = SHOP) -> str:
    return re.sub(rf"(?m)^{key} = .*\n", "", text, count=1)


def with_value(key: str, value: str, text: str = SHOP) -> str:
    changed = re.sub(rf"(?m)^{key} = .*$", f"{key} = {value}", text, count=1)
    assert changed != text
    return changed


@pytest.mark.parametrize(("table", "key"), KEYS)
def test_each_required_key_is_asked_for_at_its_table(tmp_path: Path, table: str, key: str) -> None:
    text = without(key) if key != "recipe" else SHOP.replace('recipe = "section-300"\n', "")
    error = refused(tmp_path, text)
    assert error.key == f"{table}.{key}" and error.line == line_of(text, f"[{table}]")
    assert "missing" in error.message or key == "activation_energy"


@pytest.mark.parametrize("table", ["", "shop", "compounds.section-gum", "recipes.section-300", "presses.P1"])
@pytest.mark.parametrize("typo", ["hold_temprature = 3", 'colour = "red"', '"odd key" = 1'])
def test_an_unknown_key_is_named_with_its_line(tmp_path: Path, table: str, typo: str) -> None:
    text = f"{typo}\n{SHOP}" if not table else SHOP.replace(f"[{table}]\n", f"[{table}]\n{typo}\n")
    error = refused(tmp_path, text)
    key = typo.split(" = ")[0].strip('"')
    assert error.key == (f"{table}.{key}" if table else key) and error.line == line_of(text, typo)
    assert "not a known key" in error.message
    if typo.startswith("hold_temp") and table.startswith("recipes"):
        assert "hold_temperature" in error.message


def test_an_unknown_table_is_named(tmp_path: Path) -> None:
    text = SHOP + "[recipies.section-300]\nx = 1\n"
    error = refused(tmp_path, text)
    assert (error.key, error.line) == ("recipies", line_of(text, "[recipies"))


@pytest.mark.parametrize("key", sorted(QUANTITIES))
@pytest.mark.parametrize("value", NO_QUANTITIES)
def test_a_quantity_wants_text_with_a_fitting_unit(tmp_path: Path, key: str, value: str) -> None:
    text = with_value(key, value)
    error = refused(tmp_path, text)
    assert error.key is not None and error.key.endswith(f".{key}") and error.line == line_of(text, f"{key} = {value}")


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("scorch", '"5 psi"'),
        ("hold_temperature", '"300 psi"'),
        ("hold_tolerance", '"10 min"'),
        ("bag_pressure", '"32 degF"'),
        ("activation_energy", '"100 degC"'),
        ("minimum_hold", '"60 mm"'),
    ],
)
def test_another_dimension_is_said_so(tmp_path: Path, key: str, value: str) -> None:
    error = refused(tmp_path, with_value(key, value))
    assert "not a unit of" in error.message


@pytest.mark.parametrize(
    ("key", "value", "blamed"),
    [
        ("tc90", '"6 min"', "tc90"),
        ("tc90", '"5 min"', "tc90"),
        ("scorch", '"12 min"', "scorch"),
        ("scorch", '"0 min"', "scorch"),
        ("tc50", '"-6 min"', "tc50"),
        ("activation_energy", '"0 kJ/mol"', "activation_energy"),
        ("activation_energy", '"4000 kJ/mol"', "activation_energy"),
        ("blow_point", "1.5", "blow_point"),
        ("blow_point", "-0.1", "blow_point"),
        ("blow_point", '"0.35"', "blow_point"),
        ("blow_point", "nan", "blow_point"),
        ("required_cure", "90", "required_cure"),
        ("required_cure", "1.0", "required_cure"),
        ("required_cure", "0", "required_cure"),
        ("required_cure", "true", "required_cure"),
        ("hold_tolerance", '"0 degF"', "hold_tolerance"),
        ("hold_tolerance", '"-5 degF"', "hold_tolerance"),
        ("maximum_temperature", '"305 degF"', "maximum_temperature"),
        ("maximum_temperature", '"900 degF"', "maximum_temperature"),
        ("release_below", '"295 degF"', "release_below"),
        ("minimum_hold", '"0 min"', "minimum_hold"),
        ("bag_minimum", '"32 psi"', "bag_minimum"),
        ("bag_minimum", '"-1 psi"', "bag_minimum"),
        ("bag_maximum", '"32 psi"', "bag_maximum"),
        ("units", '"metric"', "units"),
        ("units", "1", "units"),
        ("name", "5", "name"),
        ("driver", "[]", "driver"),
    ],
)
def test_figures_that_cannot_be_meant_are_refused_where_they_stand(
    tmp_path: Path, key: str, value: str, blamed: str
) -> None:
    text = with_value(key, value)
    error = refused(tmp_path, text)
    assert error.key is not None and error.key.split(".")[-1] == blamed
    assert error.line == line_of(text, f"{key} = {value}")


@pytest.mark.parametrize(
    ("key", "value"), [("blow_point", "0"), ("blow_point", "1.0"), ("reference_temperature", '"500 degC"')]
)
def test_the_compounds_own_limits_are_refused_like_all_others(tmp_path: Path, key: str, value: str) -> None:
    text = with_value(key, value)
    assert refused(tmp_path, text).line == line_of(text, f"{key} = {value}")


def test_a_second_tc90_at_absolute_zero_is_refused(tmp_path: Path) -> None:
    refused(tmp_path, SHOP.replace('activation_energy = "100 kJ/mol" ', 'tc90_at = { "-273.15 degC" = "24 min" } '))


@pytest.mark.parametrize(
    "second", ['"150 degC" = "24 min"', '"140 degC" = "3 min"', '"140 psi" = "3 min"', '"140 degC" = 3', ""]
)
def test_a_second_tc90_that_gives_no_energy_is_refused(tmp_path: Path, second: str) -> None:
    text = SHOP.replace('activation_energy = "100 kJ/mol" ', f"tc90_at = {{ {second} }} ")
    error = refused(tmp_path, text)
    assert error.line == line_of(text, "tc90_at") and error.key is not None and "tc90_at" in error.key


def test_both_or_neither_of_the_two_ways_to_an_energy_are_refused(tmp_path: Path) -> None:
    both = SHOP.replace("blow_point", 'tc90_at = { "140 degC" = "24 min" }\nblow_point', 1)
    assert "either" in refused(tmp_path, both).message
    assert "either" in refused(tmp_path, without("activation_energy")).message


@pytest.mark.parametrize(
    ("key", "value"),
    [("ambient", '"-500 degF"'), ("ambient", '"5000 degF"'), ("release_below", '"-900 degF"')],
)
def test_temperatures_no_shop_has_are_refused(tmp_path: Path, key: str, value: str) -> None:
    text = with_value(key, value) if key in SHOP.replace("ambient", "") else SHOP.replace(
        'units = "us"', f'units = "us"\n{key} = {value}'
    )  # fmt: skip
    assert refused(tmp_path, text).line == line_of(text, value)


@pytest.mark.parametrize("altitude", ['"30000 ft"', '"-2000 m"', '"300 psi"', "300"])
def test_an_altitude_no_shop_has_is_refused(tmp_path: Path, altitude: str) -> None:
    text = SHOP.replace('units = "us"', f'units = "us"\naltitude = {altitude}')
    assert refused(tmp_path, text).line == 4


def test_the_shops_time_zone_is_read_by_its_name(tmp_path: Path) -> None:
    path = tmp_path / "shop.toml"
    path.write_text(SHOP.replace('units = "us"', 'units = "us"\ntime_zone = "America/Denver"'), encoding="utf-8")
    zone = load_shop(path).zone
    # The zone database: mountain time is 7 h behind UTC in January, 6 h in July.
    assert [datetime(2025, month, 1, 12, tzinfo=UTC).astimezone(zone).hour for month in (1, 7)] == [5, 6]


@pytest.mark.parametrize("zone", ["America", "Mars/Olympus", "", "../etc/passwd", "/etc/localtime"])
def test_a_time_zone_that_is_none_is_refused(tmp_path: Path, zone: str) -> None:
    error = refused(tmp_path, SHOP.replace('units = "us"', f'units = "us"\ntime_zone = "{zone}"'))
    assert error.key == "shop.time_zone" and error.line == 4


def test_a_press_with_a_recipe_that_is_not_there_is_refused_with_those_that_are(tmp_path: Path) -> None:
    text = SHOP.replace('recipe = "section-300"', 'recipe = "section-400"')
    error = refused(tmp_path, text)
    assert error.key == "presses.P1.recipe" and error.line == line_of(text, "section-400")
    assert "section-400" in error.message and "section-300" in error.message


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('driver = "simulated"', 'driver = "simulated"\nprobe_at = "nearby"'),
        ('driver = "simulated"', 'driver = "simulated"\noptions = 5'),
        ('driver = "simulated"', 'driver = "simulated"\nport = 5'),
        ('driver = "simulated"', 'driver = "simulated"\nchannels = "bag"'),
        ('bag_maximum = "40 psi"', 'bag_maximum = "40 psi"\nbag_supply = "bottled"'),
        ('reversion = "90 min"', 'kind = "three-part"\nreversion = "90 min"'),
        ("[shop]", "shop = 5\n[shopp]"),
        ("[compounds.section-gum]", "[[compounds]]"),
        ("[presses.P1]", "presses = 1\n[presse.P1]"),
    ],
)
def test_the_wrong_kind_of_thing_is_refused(tmp_path: Path, old: str, new: str) -> None:
    refused(tmp_path, SHOP.replace(old, new))


@pytest.mark.parametrize(
    "key",
    ['"a\\nb"', '"a b"'],
)
def test_an_odd_key_still_makes_one_line(tmp_path: Path, key: str) -> None:
    refused(tmp_path, SHOP.replace('units = "us"', f'units = "us"\n{key} = 1'))


def test_what_is_no_toml_is_refused_with_its_line(tmp_path: Path) -> None:
    text = SHOP.replace('scorch = "2.5 min"', 'scorch = "2.5 min')
    assert refused(tmp_path, text).line == line_of(text, "scorch")
    assert refused(tmp_path, SHOP + "[shop]\n").message
    assert refused(tmp_path, SHOP + 'recipe = "section-300"\n').message


@pytest.mark.parametrize(
    "data",
    [
        b"\xff\xfe[\x00s\x00h\x00o\x00p\x00]\x00",
        b"[shop]\nname = \"caf\xe9\"\n",
        b"\x00" * 4096,
        b"\x00" * 8_000_000,
        b"a = " + b"[" * 4000 + b"]" * 4000,
        b"n = " + b"9" * 6000,
        b"SQLite format 3\x00\x10\x00\x01\x01",
    ],
    ids=["utf-16", "latin-1", "zeros", "huge", "deep", "digits", "binary"],
)  # fmt: skip
def test_what_is_no_text_is_refused(tmp_path: Path, data: bytes) -> None:
    refused(tmp_path, data)
    refused(tmp_path, data, repair=True)


def test_an_empty_file_and_one_without_a_shop_are_refused(tmp_path: Path) -> None:
    assert "[shop]" in refused(tmp_path, "").message
    assert "[shop]" in refused(tmp_path, "# nothing\n").message


def test_what_is_not_there_or_is_a_folder_is_refused(tmp_path: Path, shop: Shop) -> None:
    for path, words in ((tmp_path / "none.toml", "no such file"), (tmp_path, "folder"), (tmp_path / ("x" * 300), "")):
        for load in (load_shop, lambda p: load_repair(p, shop)):
            with pytest.raises(ShopError) as caught:
                load(path)
            assert str(caught.value).startswith(f"{path}: ") and words in str(caught.value)
            assert "\n" not in str(caught.value)


def test_a_recipe_that_is_not_there_names_those_that_are(shop: Shop) -> None:
    with pytest.raises(ShopError, match=r"recipes\.thin: no such recipe; there are: section-300"):
        shop.recipe("thin")


# --- bad repair files ------------------------------------------------------------------------------------------------

REPAIRS = {
    "no layers": ("mats_overlap = true\n", "layers", "missing", None),
    "empty layers": ("layers = []\n", "layers", "empty", "layers"),
    "layers and stacks": (STACKS + REPAIR, "layers", "either layers or stacks", "[[layers]]"),
    "layers that are none": ('layers = "thick"\n', "layers", "list of tables", "layers"),
    "layers of text": ('layers = ["thick"]\n', "layers", "list of tables", "layers"),
    "unknown key at the top": ('colour = "red"\n' + REPAIR, "colour", "not a known key", "colour"),
    "unknown key in the second layer": (
        REPAIR.replace('"22 mm"', '"22 mm"\ncolour = "red"'), "layers.2.colour", "not a known key", "colour",
    ),
    "unknown face": (REPAIR + '[faces]\nmiddle = "mat"\n', "faces.middle", "not a known key", "middle"),
    "a face of sky": (REPAIR + '[faces]\nouter = "sky"\n', "faces.outer", "one of", "sky"),
    "no mat at all": (REPAIR + '[faces]\ninner = "air"\nouter = "air"\n', "faces", "no face", "[faces]"),
    "no thickness": (REPAIR.replace('thickness = "8 mm"\n', ""), "layers.1.thickness", "missing", "[[layers]]"),
    "no name": (REPAIR.replace('name = "repair patch"\n', ""), "layers.1.name", "missing", "[[layers]]"),
    "zero thickness": (REPAIR.replace("8 mm", "0 mm"), "layers.1.thickness", "too small", "0 mm"),
    "negative thickness": (REPAIR.replace("14 mm", "-14 mm"), "layers.3.thickness", "too small", "-14 mm"),
    "thickness as a number": (REPAIR.replace('"22 mm"', "22"), "layers.2.thickness", "as text", "= 22"),
    "thickness in psi": (REPAIR.replace("22 mm", "22 psi"), "layers.2.thickness", "not a unit of length", "22 psi"),
    "thickness in thumbs": (REPAIR.replace("22 mm", "1 thumb"), "layers.2.thickness", "unknown unit", "1 thumb"),
    "half a metre of rubber": (REPAIR.replace("22 mm", "600 mm"), "layers", "half a metre", "[[layers]]"),
    "unknown compound": (REPAIR.replace('"section-gum"     #', '"gum"  #'), "layers.1.compound", "-gum", '"gum"'),
    "nothing uncured": (REPAIR.replace('compound = "section-gum"', ""), "layers", "nothing would cure", "[[layers]]"),
    "compound as a number": (REPAIR.replace('"section-gum"     #', "5  #"), "layers.1.compound", "wants text", "= 5"),
    "negative conductance": (
        'contact_conductance = "-5 W/m2/K"\n' + REPAIR, "contact_conductance", "too small", "contact_conductance",
    ),
    "a start nobody has": ('start_temperature = "900 degF"\n' + REPAIR, "start_temperature", "", "start_temperature"),
    "overlap as text": ('mats_overlap = "yes"\n' + REPAIR, "mats_overlap", "true or false", "mats_overlap"),
    "zero conductivity": (
        REPAIR.replace('"22 mm"', '"22 mm"\nconductivity = "0 W/m/K"'), "layers.2.conductivity", "small", "conductiv",
    ),
    "a stack without a name": (STACKS.replace('name = "skive edge"\n', ""), "stacks.2.name", "missing", None),
    "a stack without layers": ('[[stacks]]\nname = "x"\nlayers = []\n', "stacks.1.layers", "empty", "layers"),
    "a layer of nothing": (STACKS.replace("1.25 in", "0 in"), "stacks.1.layers.2.thickness", "small", "0 in"),
    "a negative layer in another": (STACKS.replace("30 mm", "-30 mm"), "stacks.2.layers.2.thickness", "small", None),
}  # fmt: skip


@pytest.mark.parametrize("name", REPAIRS)
def test_a_bad_repair_is_refused_naming_its_key_and_line(tmp_path: Path, name: str) -> None:
    text, key, words, at = REPAIRS[name]
    error = refused(tmp_path, text, repair=True)
    assert error.key == key and words in error.message, str(error)
    if at is not None:
        assert error.line == line_of(text, at)


@pytest.mark.parametrize(
    ("old", "new"),
    [("30 mm", "-30 mm"), ("4 mm", "-4 mm"), ('casing"\n', 'casing"\ncolour = 1\n')],
)
def test_the_line_of_a_layer_in_a_stack_is_its_own(tmp_path: Path, old: str, new: str) -> None:
    text = STACKS.replace(old, new)
    assert refused(tmp_path, text, repair=True).line == line_of(text, new.strip().splitlines()[-1])


def test_two_stacks_of_one_name_are_refused(tmp_path: Path) -> None:
    assert "skive edge" in str(refused(tmp_path, STACKS.replace("injury centre", "skive edge"), repair=True))


def test_a_bad_ready_made_repair_is_refused_in_the_shop_file(tmp_path: Path) -> None:
    text = SHOP + "[repairs.shoulder]\n" + REPAIR.replace("[[", "[[repairs.shoulder.").replace("14 mm", "0 mm")
    error = refused(tmp_path, text)
    assert error.key == "repairs.shoulder.layers.3.thickness" and error.line == line_of(text, '"0 mm"')


# --- anything at all ------------------------------------------------------------------------------------------------

scraps = st.sampled_from(
    [
        *SHOP.splitlines(),
        *STACKS.splitlines(),
        '"',
        "'''",
        "[",
        "]",
        "=",
        "\\",
        "\x00",
        "\r",
        "#",
        "é",
        "1e999",
        "nan",
        "{}",
    ]
)


def mangled(text: str) -> st.SearchStrategy[str]:
    """The text with some lines left out, doubled, moved or cut, and scraps put in."""
    lines = text.splitlines()

    def mix(draw_from: tuple[list[int], list[tuple[int, str]], int]) -> str:
        kept, added, cut = draw_from
        made = [line for n, line in enumerate(lines) if n not in kept]
        for at, scrap in added:
            made.insert(at % (len(made) + 1), scrap)
        return "\n".join(made)[: cut or None]

    return st.tuples(
        st.lists(st.integers(0, len(lines)), max_size=3),
        st.lists(st.tuples(st.integers(0, 60), st.one_of(scraps, st.text(max_size=30))), max_size=3),
        st.one_of(st.just(0), st.integers(1, len(text))),
    ).map(mix)


@pytest.fixture(scope="module")
def ready(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Shop]:
    folder = tmp_path_factory.mktemp("shop")
    return folder / "any.toml", shop_of(folder, SHOP)


@given(st.one_of(st.text(max_size=200), mangled(SHOP), mangled(STACKS)))
@settings(max_examples=250, derandomize=True, deadline=None)
def test_any_text_is_read_or_refused_in_one_line(ready: tuple[Path, Shop], text: str) -> None:
    path, shop = ready
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    for load in (load_shop, lambda p: load_repair(p, shop), lambda p: repair_from_text(text, shop)):
        with contextlib.suppress(ShopError):
            load(path)


@given(st.binary(max_size=100))
@settings(max_examples=60, derandomize=True, deadline=None)
def test_any_bytes_are_read_or_refused_in_one_line(ready: tuple[Path, Shop], data: bytes) -> None:
    path, shop = ready
    path.write_bytes(data)
    for load in (load_shop, lambda p: load_repair(p, shop)):
        with pytest.raises(ShopError) as caught:
            load(path)
        assert "\n" not in str(caught.value)
