"""That what is closed leaves nothing behind; a whole shift is measured in tests/benchmarks/dashboard_memory.py."""

import gc

import pytest
from textual._styles_cache import StylesCache

from press_monitor.screens.let_go import forget_lines


def _caches() -> int:
    """How many widgets' painted lines the process holds."""
    gc.collect()
    return sum(isinstance(kept, StylesCache) for kept in gc.get_objects())


# What is opened, and what leads back to the floor from it.
_VISITS = {
    "a press": ("2", "0"),
    "alarms": ("a", "0"),
    "a ticket": ("l", "escape"),
    "a question": ("q", "escape"),
    "the help": ("question_mark", "escape"),
    "a dialog over a press": ("2", "m", "escape", "0"),
}


@pytest.mark.parametrize("keys", _VISITS.values(), ids=_VISITS.keys())
async def test_what_is_closed_is_let_go(dashboard, keys):
    async with dashboard.run_test(size=(80, 24)) as pilot:
        await pilot.press(*keys)
        await pilot.pause()
        once = _caches()
        for _ in range(3):
            await pilot.press(*keys)
        for _ in range(200):  # what was closed goes when its own messages are through
            await pilot.pause()
            if _caches() <= once:
                break
        assert _caches() <= once


def test_the_librarys_cache_is_there_and_is_emptied():
    # Should a release of Textual change it, look whether screens are still kept, and mend `forget_lines`.
    from textual.color import Color

    StylesCache().get_inner_outer(Color(1, 2, 3), Color(4, 5, 6))
    assert StylesCache.get_inner_outer.cache_info().currsize >= 1
    forget_lines()
    assert StylesCache.get_inner_outer.cache_info().currsize == 0
