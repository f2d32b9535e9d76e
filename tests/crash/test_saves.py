"""A save is written later, by another thread: nothing the watch does meanwhile may change it."""

from __future__ import annotations

import json

import pytest

from press_monitor.readings.conditioning import reading_of
from press_monitor.readings.types import Tick
from press_monitor.recorder.watches import ShopWatches
from press_monitor.shop import load_shop
from press_monitor.shop_channels import press_channels
from tests.crash import world

UNITS = {"inner_mat": ("degF", 1), "outer_mat": ("degF", 1), "bag": ("psi", 2)}
LATER = 9


@pytest.mark.parametrize("story", [1, 4, 5], ids=lambda k: world.STORIES[k].name)
def test_a_save_stays_what_it_was_however_the_cure_goes_on(story, tmp_path):
    path = tmp_path / "shop.toml"
    path.write_text(world.shop_text(1), encoding="utf-8")
    shop = load_shop(path)
    press = shop.presses["P1"]
    watch = ShopWatches(press, shop, press_channels(press, shop)).fit(world.start_args(0, story)).watch
    kept: list[tuple[object, str]] = []
    for k, shown in enumerate(world.frames(story)[:330]):
        readings = {
            name: reading_of(round(value * 10 ** UNITS[name][1]), *UNITS[name])
            for name, value in shown
            if value is not None
        }
        watch.step(Tick(float(k * world.STEP_S), readings))
        if len(kept) == LATER:
            save, text = kept.pop(0)
            assert json.dumps(save) == text, f"the save of row {k - LATER} was changed by the rows after it"
        if k > 60:
            save = watch.save()
            kept.append((save, json.dumps(save)))
