"""What is wrong, in the cells a lane of 80 columns has for it; and when a value wears a sign."""

from dataclasses import replace

import pytest

from press_monitor.quantities import PSI, UnitSystem
from press_monitor.screens.lane_words import bag_is_low, face_is_off, lane_words
from press_monitor.watch.kinds import KINDS
from press_monitor.watch.types import FaceView, GateView, Phase
from tests.screens.conftest import make_dashboard, screen_lines
from tests.screens.fakes import alarm, degC, four_presses, shop_of, snapshot

ROOM = 25
OF_THE_RECORDER = {"archive-failing", "clock-step", "no-horn"}
"""They stand on no press."""


@pytest.mark.parametrize("units", ["us", "si"])
@pytest.mark.parametrize("kind", sorted(set(KINDS) - OF_THE_RECORDER))
def test_every_kind_is_said_whole_in_a_lane(kind, units):
    shot = snapshot(1860, Phase.HOLD, bag_trend_Pa_min=-12.5 * PSI)
    for channel in ("inner_mat", "outer_mat"):
        words = lane_words(shot, alarm(kind, 1, 2, "m", "a", channel=channel), UnitSystem.named(units))
        assert 0 < len(words) <= ROOM, words


def test_a_kind_of_somebodys_own_is_left_to_its_message():
    assert lane_words(snapshot(1860, Phase.HOLD), alarm("own-kind", 1, 2, "m", "a"), UnitSystem.named("us")) == ""


@pytest.mark.parametrize(
    ("trend", "words"),
    [(0.0, "only outer mat loses heat"), (-3.0, "both mats lose heat"), (None, "outer mat loses its heat")],
)
def test_whether_one_mat_or_both_lose_heat_is_said(trend, words):
    shot = snapshot(1860, Phase.HOLD, inner=FaceView("inner_mat", degC(299), True, True, trend))
    lost = alarm("heat-lost", 1, 2, "m", "a", channel="outer_mat")
    assert lane_words(shot, lost, UnitSystem.named("us")) == words


async def test_a_lane_of_80_columns_cuts_no_sentence_in_two():
    presses = four_presses()
    shot = presses[1].snapshot
    long = "Pressure lost while 22 % of the uncured rubber is setting"
    kept = replace(shot.alarms[0], kind="pressure-lost-uncured")
    presses[1].snapshot = replace(shot, words=long, alarms=(kept,))
    app = make_dashboard(shop_of(presses))
    async with app.run_test(size=(80, 24)):
        text = "\n".join(screen_lines(app))
        assert "setting without pressure" in text
        assert "Pressure lost while" not in text
        assert "▌ 2    ▲ PRESSURE LOST" in text, "a name down to a letter is left out"


def test_a_value_wears_a_sign_only_where_the_repair_suffers():
    low = snapshot(1860, Phase.HOLD, bag_Pa=20 * PSI)
    assert bag_is_low(low)
    assert not bag_is_low(replace(low, phase=Phase.LOADED)), "not filled yet"
    assert not bag_is_low(replace(low, phase=Phase.COOL_DOWN, gate=GateView(True, True, True, False))), "let down"
    cold = FaceView("outer_mat", degC(241), True, False, 0.0)
    assert face_is_off(cold, low)
    assert not face_is_off(cold, replace(low, phase=Phase.HEAT_UP)), "still on its way"
    assert face_is_off(FaceView("outer_mat", None, False, False, None), replace(low, phase=Phase.HEAT_UP))
    assert not face_is_off(None, low)
