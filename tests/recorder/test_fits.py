"""A shop's own fits in a live watch: used, kept with the cycle, and there again after a restart."""

from __future__ import annotations

import json

import pytest

from press_monitor.archive import CycleStart
from press_monitor.recorder.watches import ShopWatches, setup_again
from press_monitor.shop import load_shop
from press_monitor.shop_channels import press_channels
from press_monitor.watch.record import model_json
from tests.recorder.shops import THIN, demo_shop_file

SHA = "cd" * 32
FIT = f"""
[fits.north-march]
trial = "north-march.csv"
trial_sha256 = "{SHA}"
diffusivity = "0.13 mm2/s"
diffusivity_low = "0.12 mm2/s"
diffusivity_high = "0.15 mm2/s"
contact_conductance = "200 W/m2/K"
contact_conductance_low = "150 W/m2/K"
contact_conductance_high = "300 W/m2/K"
press = "P1"
"""


def test_a_live_cycle_goes_by_the_shops_fits_and_keeps_them(tmp_path):
    usual = demo_shop_file(tmp_path, 2)
    path = tmp_path / "fitted.toml"
    path.write_text((tmp_path / "shop.toml").read_text("utf-8") + FIT, "utf-8")
    shop = load_shop(path)
    fitted = {}
    for name in ("P1", "P2"):
        press = shop.presses[name]
        fitted[name] = ShopWatches(press, shop, press_channels(press, shop)).fit(THIN)
    layers = fitted["P1"].repair["stacks"][0]["layers"]
    assert [x["conductivity"] / x["density"] / x["heat_capacity"] for x in layers] == pytest.approx(
        [1.3e-7] * len(layers)
    )
    assert fitted["P1"].repair["contact_conductance"] == 200.0
    assert fitted["P2"].repair["contact_conductance"] is None
    assert fitted["P1"].setup["limits"]["diffusivity"] == pytest.approx([0.12 / 0.13, 0.15 / 0.13])
    assert fitted["P1"].setup["limits"]["contact"] == pytest.approx([0.75, 1.5])
    assert fitted["P1"].setup["fits"] == [f"north-march: fitted to north-march.csv, SHA-256 {SHA}"]

    # From the cycle's start, as JSON, the same watch again; and the record's model says what it went by.
    kept = fitted["P1"]
    start = CycleStart(
        "0" * 32, "P1", 0.0, "live", kept.recipe, kept.repair, kept.ticket, (), 3, json.loads(json.dumps(kept.setup))
    )
    again = setup_again(start)
    assert again == kept.watch.setup
    assert (again.limits.contact, again.fits) == ((0.75, 1.5), tuple(kept.setup["fits"]))
    told = model_json(start.setup)
    assert told["fits"] == kept.setup["fits"]
    assert told["band"]["diffusivity"] == kept.setup["limits"]["diffusivity"]

    # A shop without fits, and a cycle that an older version began, go by the usual figures.
    press = usual.presses["P1"]
    plain = ShopWatches(press, usual, press_channels(press, usual)).fit(THIN)
    assert (plain.setup["fits"], plain.repair["contact_conductance"]) == ([], None)
    older = {key: value for key, value in plain.setup.items() if key not in ("limits", "fits")}
    before = CycleStart("1" * 32, "P1", 0.0, "live", plain.recipe, plain.repair, plain.ticket, (), 3, older)
    assert setup_again(before) == plain.watch.setup
    assert model_json(older) == model_json() == model_json(plain.setup)
