"""Colours by what they mean, as 0xRRGGBB integers, and the signs that say the same without colour.

The curve colours come from the Okabe-Ito set, which stays apart for colour-blind eyes (Okabe and Ito 2008, from
memory). Contrast is computed as WCAG 2.1 defines it (relative luminance, ratio of 1 to 21).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

__all__ = [
    "CONTRAST",
    "DARK",
    "MONO",
    "PALETTES",
    "Look",
    "Marker",
    "Palette",
    "Signs",
    "Tone",
    "contrast",
    "css",
    "mix",
]


class Marker(Enum):
    """What charts are drawn with."""

    BRAILLE = "braille"
    BLOCKS = "blocks"
    ASCII = "ascii"


class Tone(Enum):
    """How a state feels; each has a colour and a sign."""

    IDLE = "idle"
    FINE = "fine"
    DONE = "done"
    ATTENTION = "attention"
    ALARM = "alarm"


@dataclass(frozen=True, slots=True)
class Palette:
    """One theme's colours. `dashed` asks for curves to differ in dash as well as in colour.

    `hint` is what an empty field proposes: it must not pass for something typed.
    """

    name: str
    ground: int
    panel: int
    raised: int
    track: int
    guide: int
    dim: int
    hint: int
    text: int
    inner: int
    outer: int
    bag: int
    cure: int
    cure_soft: int
    band: int
    fine: int
    attention: int
    alarm: int
    on_alarm: int
    done: int
    dashed: bool = False

    @property
    def chosen(self) -> int:
        """The ground of the row under a list's cursor: every ink is read on it."""
        return mix(self.raised, self.track, 0.5)

    def tone(self, tone: Tone) -> int:
        """The ink of a tone."""
        return {
            Tone.IDLE: self.dim,
            Tone.FINE: self.fine,
            Tone.DONE: self.done,
            Tone.ATTENTION: self.attention,
            Tone.ALARM: self.alarm,
        }[tone]


DARK = Palette(
    name="press-dark",
    ground=0x0F1419,
    panel=0x151C23,
    raised=0x1E2933,
    track=0x2B3641,
    guide=0x46545F,
    dim=0x96A3AF,
    hint=0x96A3AF,
    text=0xD8DEE4,
    inner=0xE69F00,
    outer=0xF0C674,
    bag=0x56B4E9,
    cure=0xCC79A7,
    cure_soft=0x6F4A60,
    band=0x1D2B2A,
    fine=0x4FC08D,
    attention=0xF0E442,
    alarm=0xFF6B57,
    on_alarm=0x000000,
    done=0x56B4E9,
)

CONTRAST = Palette(
    name="press-contrast",
    ground=0x000000,
    panel=0x000000,
    raised=0x1C1C1C,
    track=0x303030,
    guide=0x8A8A8A,
    dim=0xFFFFFF,
    hint=0xA8A8A8,
    text=0xFFFFFF,
    inner=0xFFFFFF,
    outer=0xFFFF00,
    bag=0xFFFFFF,
    cure=0xFFFF00,
    cure_soft=0x6B6B00,
    band=0x2E2E2E,
    fine=0xFFFFFF,
    attention=0xFFFF00,
    alarm=0xFF6060,
    on_alarm=0x000000,
    done=0xFFFFFF,
    dashed=True,
)

MONO = Palette(
    name="press-mono",
    ground=0x000000,
    panel=0x101010,
    raised=0x262626,
    track=0x404040,
    guide=0x808080,
    dim=0xB8B8B8,
    hint=0xB8B8B8,
    text=0xE8E8E8,
    inner=0xE8E8E8,
    outer=0xFFFFFF,
    bag=0xD0D0D0,
    cure=0xE0E0E0,
    cure_soft=0x808080,
    band=0x2C2C2C,
    fine=0xE8E8E8,
    attention=0xFFFFFF,
    alarm=0xFFFFFF,
    on_alarm=0x000000,
    done=0xD8D8D8,
    dashed=True,
)
"""For terminals asked to show no colour: what is wrong is the brightest thing there."""

PALETTES = {palette.name: palette for palette in (DARK, CONTRAST, MONO)}


@dataclass(frozen=True, slots=True)
class Signs:
    """Shapes that carry a state without colour, and the few glyphs bars are made of."""

    fine: str
    alarm: str
    done: str
    idle: str
    mark: str
    ellipsis: str
    here: str
    """Points up at a place: never the sign of an alarm."""
    dash: str
    """A stretch of curve, for a legend."""
    edge: str
    """The coloured bar at a lane's left edge."""

    @classmethod
    def of(cls, marker: Marker) -> Signs:
        """ASCII where nothing else can be shown."""
        if marker is Marker.ASCII:
            return cls("o", "!", "*", "-", "|", "~", "^", "--", "#")
        return cls("●", "▲", "◆", "○", "│", "…", "↑", "━━", "▌")

    def tone(self, tone: Tone) -> str:
        """The sign of a tone."""
        return {
            Tone.IDLE: self.idle,
            Tone.FINE: self.fine,
            Tone.DONE: self.done,
            Tone.ATTENTION: self.alarm,
            Tone.ALARM: self.alarm,
        }[tone]


@dataclass(frozen=True, slots=True)
class Look:
    """Everything a drawing asks about appearance."""

    palette: Palette = DARK
    marker: Marker = Marker.BRAILLE

    @property
    def signs(self) -> Signs:
        """The signs this look can show."""
        return Signs.of(self.marker)


def _luminance(colour: int) -> float:
    total = 0.0
    for shift, weight in ((16, 0.2126), (8, 0.7152), (0, 0.0722)):
        part = ((colour >> shift) & 255) / 255.0
        total += weight * (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4)
    return total


def contrast(one: int, other: int) -> float:
    """WCAG 2.1 contrast ratio of two colours, 1 to 21."""
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def mix(one: int, other: int, share: float) -> int:
    """`one` with `share` (0-1) of `other` in it."""
    made = 0
    for shift in (16, 8, 0):
        a, b = (one >> shift) & 255, (other >> shift) & 255
        made |= round(a + (b - a) * share) << shift
    return made


def css(colour: int) -> str:
    """``#rrggbb``."""
    return f"#{colour:06x}"
