"""Small shop, repair and log files for the tests of the command line: an invented shop, a cure of a few minutes."""

from __future__ import annotations

from pathlib import Path

SHOP_WITHOUT_PRESSES = """\
[shop]
name = "Juniper Flat Section Repair"
units = "us"

[compounds.section-gum]
reference_temperature = "150 degC"
scorch = "2.5 min"
tc50 = "6 min"
tc90 = "12 min"
activation_energy = "100 kJ/mol"
blow_point = 0.35
reversion = "90 min"

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
"""

SHOP = f"""\
{SHOP_WITHOUT_PRESSES}
[presses.P1]
driver = "simulated"
recipe = "section-300"
"""

REPAIR = """\
[[layers]]
name = "repair patch"
thickness = "8 mm"
compound = "section-gum"
[[layers]]
name = "casing"
thickness = "22 mm"
[[layers]]
name = "filler rubber"
thickness = "14 mm"
compound = "section-gum"
"""


def log_text(rows: int = 90) -> str:
    """The start of a cure at one row a second, broken off: never a pass."""
    head = "# what happens: a cure broken off while it warms\nelapsed_s,inner_mat[degF],outer_mat[degF],bag[psi]\n"
    return head + "".join(f"{t},{70 + t / 2:.1f},{69 + t / 2:.1f},32.0\n" for t in range(rows))


def write_job(folder: Path) -> dict[str, Path]:
    """The three files in `folder`, by name."""
    folder.mkdir(parents=True, exist_ok=True)
    files = {"shop": folder / "shop.toml", "repair": folder / "repair.toml", "log": folder / "cure.csv"}
    files["shop"].write_text(SHOP, "utf-8")
    files["repair"].write_text(REPAIR, "utf-8")
    files["log"].write_text(log_text(), "utf-8")
    return files
