"""Contrast as WCAG 2.1 defines it: text at 4.5 or more on every ground it stands on, marks at 3."""

import pytest

from press_monitor.screens.app import marker_of
from press_monitor.screens.theme import themes
from press_monitor.screens.widgets.palette import CONTRAST, DARK, PALETTES, Look, Marker, Tone, contrast, mix


def test_the_ratio_agrees_with_the_published_extremes():
    # WCAG 2.1: black on white is 21, a colour on itself 1; #767676 on white is the well-known 4.54.
    assert contrast(0x000000, 0xFFFFFF) == pytest.approx(21.0)
    assert contrast(0x123456, 0x123456) == pytest.approx(1.0)
    assert contrast(0x767676, 0xFFFFFF) == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("palette", PALETTES.values(), ids=lambda p: p.name)
def test_text_reads_on_every_ground(palette):
    grounds = (palette.ground, palette.panel, palette.raised, palette.band, mix(palette.panel, palette.ground, 0.75))
    inks = (
        *(palette.text, palette.dim, palette.inner, palette.outer, palette.bag, palette.cure),
        *(palette.fine, palette.attention, palette.alarm, palette.done),
    )
    for ground in grounds:
        for ink in inks:
            assert contrast(ink, ground) >= 4.5, f"{ink:06x} on {ground:06x}"
    for ink in (palette.text, palette.dim):
        assert contrast(ink, palette.track) >= 4.5


@pytest.mark.parametrize("palette", PALETTES.values(), ids=lambda p: p.name)
def test_the_loud_bar_reads(palette):
    for tone in (Tone.ALARM, Tone.ATTENTION):
        assert contrast(palette.on_alarm, palette.tone(tone)) >= 7.0


def test_high_contrast_keeps_to_white_black_yellow_and_one_red():
    inks = {getattr(CONTRAST, n) for n in ("text", "dim", "inner", "outer", "bag", "cure", "fine", "attention", "done")}
    assert inks == {0xFFFFFF, 0xFFFF00}
    assert contrast(CONTRAST.alarm, CONTRAST.ground) >= 7.0
    assert contrast(CONTRAST.dim, CONTRAST.band) >= 7.0


def test_every_tone_has_a_sign_of_its_own_kind():
    for marker in Marker:
        signs = Look(DARK, marker).signs
        assert len({signs.tone(t) for t in (Tone.FINE, Tone.DONE, Tone.IDLE, Tone.ALARM)}) == 4


def test_the_themes_carry_the_palettes():
    assert [t.name for t in themes()] == list(PALETTES)


@pytest.mark.parametrize(
    ("environ", "platform", "marker"),
    [
        ({}, "linux", Marker.BRAILLE),
        ({}, "win32", Marker.BLOCKS),
        ({"WT_SESSION": "x"}, "win32", Marker.BRAILLE),
        ({"PRESS_MONITOR_CHARTS": "ascii"}, "linux", Marker.ASCII),
        ({"PRESS_MONITOR_CHARTS": "braille"}, "win32", Marker.BRAILLE),
        ({"PRESS_MONITOR_CHARTS": "crayon"}, "linux", Marker.BRAILLE),
    ],
)
def test_charts_are_drawn_with_what_the_terminal_can_show(environ, platform, marker):
    assert marker_of(environ, platform) is marker
