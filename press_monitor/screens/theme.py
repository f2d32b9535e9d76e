"""The themes, made from the palettes that the drawings use."""

from __future__ import annotations

from textual.theme import Theme

from press_monitor.screens.widgets.palette import CONTRAST, DARK, MONO, Palette, css

__all__ = ["DEFAULT_THEME", "FEW_COLOURS_THEME", "NEXT_THEME", "NO_COLOR_THEME", "THEME_WORDS", "themes"]

DEFAULT_THEME = DARK.name
NO_COLOR_THEME = MONO.name
FEW_COLOURS_THEME = CONTRAST.name
NEXT_THEME = {DARK.name: CONTRAST.name, CONTRAST.name: DARK.name, MONO.name: MONO.name}
"""What T switches to; without colour there is nothing to switch."""
THEME_WORDS = {DARK.name: "dark", CONTRAST.name: "high contrast", MONO.name: "no colour"}


def _theme(palette: Palette) -> Theme:
    return Theme(
        name=palette.name,
        primary=css(palette.done),
        secondary=css(palette.cure),
        accent=css(palette.attention),
        foreground=css(palette.text),
        background=css(palette.ground),
        surface=css(palette.panel),
        panel=css(palette.raised),
        success=css(palette.fine),
        warning=css(palette.attention),
        error=css(palette.alarm),
        dark=True,
        variables={
            "dim": css(palette.dim),
            "track": css(palette.track),
            "text-muted": css(palette.dim),
            "text-disabled": css(palette.dim),
            "on-alarm": css(palette.on_alarm),
            "border": css(palette.dim),
            "border-blurred": css(palette.track),
            "input-cursor-background": css(palette.text),
            "input-cursor-foreground": css(palette.ground),
            "input-selection-background": css(palette.track),
            "block-cursor-background": css(palette.text),
            "block-cursor-foreground": css(palette.ground),
            "block-cursor-blurred-background": css(palette.track),
            "block-cursor-blurred-foreground": css(palette.text),
            "scrollbar": css(palette.track),
            "scrollbar-background": css(palette.ground),
            "scrollbar-corner-color": css(palette.ground),
            "footer-key-foreground": css(palette.text),
        },
    )


def themes() -> tuple[Theme, ...]:
    """All themes, the usual one first."""
    return _theme(DARK), _theme(CONTRAST), _theme(MONO)
