"""The two lines on top: what to do is read to the end of a sentence."""

from __future__ import annotations

from dataclasses import replace

import pytest

from press_monitor.screens.widgets.bars import BarWords, draw_bar
from press_monitor.screens.widgets.palette import DARK, Look, Marker, Tone

LOOK = Look(DARK, Marker.BRAILLE)
ADVICE = "Refill at the remote valve now: it is setting unpressed. Do not reach in. If it will not hold, heat off."


def lines(width: int, advice: str = ADVICE, more: str = "+2 more [A]") -> list[str]:
    since = "since 15:10 (20 s)"
    words = BarWords(
        Tone.ALARM, True, "PRESS 2  PRESSURE LOST", "", since, advice, key="[Enter] acknowledge", more=more
    )
    cells = draw_bar(words, width, 2, LOOK)
    return [cells.line(row).rstrip() for row in range(2)]


def test_a_warning_is_not_cut_off_for_the_count_of_other_alarms():
    first, second = lines(80)
    assert second.endswith("setting unpressed. Do not reach in. …"), "and more is to be read elsewhere"
    assert "+2 more [A]" in first
    assert first.endswith("[Enter] acknowledge")
    assert "since 15:10" in first


@pytest.mark.parametrize("width", range(62, 121))
def test_no_do_not_is_left_hanging(width):
    first, second = lines(width)
    assert second.split("+2")[0].rstrip().endswith((".", "…"))
    assert not second.split("+2")[0].rstrip(" …").endswith(("Do", "Do no", "Do not"))
    assert ("+2 more [A]" in first) != ("+2 more [A]" in second)
    assert "PRESS 2  PRESSURE LOST" in first


def test_words_that_fit_leave_both_lines_as_they_are():
    first, second = lines(80, "Leave the bag up.")
    assert "since 15:10 (20 s)" in first
    assert second.endswith("+2 more [A]")


def test_a_long_message_gives_way_to_the_same_in_fewer_words():
    detail = "Pressure lost while 22 % of the uncured rubber is setting"
    words = BarWords(Tone.ALARM, True, "PRESS 2  PRESSURE LOST", detail, "since 15:10", ADVICE, "[Enter] acknowledge")
    words = replace(words, more="+2 more [A]", short="setting without pressure")
    assert "setting without pressure  since" in draw_bar(words, 120, 2, LOOK).line(0)
    assert detail in draw_bar(words, 160, 2, LOOK).line(0)


@pytest.mark.parametrize("width", range(100, 161, 4))
def test_what_is_wrong_is_never_cut_within_its_second_sentence(width):
    detail = "Bag 20.4 psi, below its minimum of 28 psi. Skins set, core not yet."
    words = BarWords(Tone.ALARM, True, "PRESS 2  BAG LOW", detail, "since 15:10", ADVICE, key="[Enter] acknowledge")
    first = draw_bar(words, width, 2, LOOK).line(0)
    assert "Skins set" not in first or "core not yet." in first, "half of it says the opposite"


def test_one_long_sentence_is_cut_and_says_so():
    assert lines(62, "Look at the " + "very " * 20 + "end.", more="")[1].endswith("…")
