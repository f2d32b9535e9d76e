"""Letting go of screens that are gone, which the library would hold on to."""

from __future__ import annotations

from textual._styles_cache import StylesCache
from textual.app import App
from textual.widget import Widget

from press_monitor.screens.settle import sweep

__all__ = ["drop_lines", "forget_lines", "let_go"]

_SWEEP_AFTER_S = 0.09
"""Time enough to draw what was under the screen that went, and too little for the next key."""


def let_go(app: App[None]) -> None:
    """Keep nothing of a screen that is about to go."""
    forget_lines()
    if app.is_running and not app.is_headless:
        app.set_timer(_SWEEP_AFTER_S, sweep)


def forget_lines() -> None:
    """Empty the cache by which the library keeps the painted lines of up to a thousand widgets that are gone.

    It holds two blended colours a widget, and the widget's lines by the way; those that are still shown fill theirs
    again with the next painting. Without it a shift's worth of opened and closed screens stays in memory.
    """
    clear = getattr(getattr(StylesCache, "get_inner_outer", None), "cache_clear", None)
    if clear is not None:
        clear()


def drop_lines(widget: Widget) -> None:
    """Free the painted lines of a widget that goes at once, not when its cycles are found: they are most of it."""
    lines = getattr(widget, "_styles_cache", None)
    if lines is not None:
        lines.clear()
