"""Fixtures: a dashboard over the fake archive, with both clocks in the test's hand."""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import UTC

import pytest
from rich.console import Console

from press_monitor.quantities import UnitSystem
from press_monitor.screens.app import Dashboard
from press_monitor.screens.shopview import Preset, ShopView
from press_monitor.screens.widgets.palette import Marker
from tests.screens.fakes import FakeArchive, shop_of

PRESETS = (
    Preset("thin", "22 mm", "# thin"),
    Preset("shoulder", "44 mm", "# shoulder"),
    Preset("lug", "76 mm", "# lug"),
)


def make_dashboard(archive: FakeArchive, *, units: str = "us", marker: Marker = Marker.BRAILLE, **options) -> Dashboard:
    source = archive.source()
    shop = ShopView(
        "Juniper Flat Section Repair",
        UnitSystem.named(units),
        tuple(p.place for p in source.presses),
        PRESETS,
        ("section-300", "slow-270"),
        UTC,
    )
    return Dashboard(source, shop, marker=marker, **options)


def screen_lines(app: Dashboard) -> list[str]:
    """What stands on the terminal, row by row, without trailing blanks."""
    width, height = app.size
    console = Console(
        width=width,
        height=height,
        file=io.StringIO(),
        force_terminal=True,
        color_system="truecolor",
        record=True,
        legacy_windows=False,
        safe_box=False,
    )
    console.print(app.screen._compositor.render_update(full=True))
    text = console.export_text(styles=False)
    return [line.rstrip() for line in text.splitlines()][:height]


@pytest.fixture
def archive() -> FakeArchive:
    return shop_of()


@pytest.fixture
def dashboard(archive: FakeArchive) -> Dashboard:
    return make_dashboard(archive)


@pytest.fixture
def lines() -> Callable[[Dashboard], list[str]]:
    return screen_lines
