"""No text of anybody's reaches the screens as markup, a link, or a sequence for the terminal."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from textual.app import App, ComposeResult
from textual.widgets import Static

from press_monitor.screens.certificates.screen import CertificateScreen
from press_monitor.screens.records.screen import RecordsScreen
from press_monitor.screens.stores.screen import StoresScreen
from tests.hostile.hostile_shop import BAD, bad, make
from tests.hostile.test_console import dangerous
from tests.screens.conftest import make_dashboard, screen_lines
from tests.screens.fakes import FakeArchive, FakePress, four_presses, shop_of
from tests.screens.test_records import Place, over, settled

SIZE = (160, 50)


def hostile_presses() -> list[FakePress]:
    """The usual four, everything that is text replaced by the worst of it."""
    made = []
    for press in four_presses():
        snapshot = press.snapshot
        assert snapshot is not None
        told = [replace(alarm, message=bad("m"), advice=bad("a")) for alarm in snapshot.alarms]
        stacks = [
            replace(s, name=bad("s"), layers=tuple(replace(layer, name=bad("l")) for layer in s.layers))
            for s in snapshot.stacks
        ]
        worse = replace(
            snapshot,
            tire=bad("23.5"),
            section=bad("shoulder"),
            words=bad("on plan"),
            recipe=bad("r"),
            alarms=tuple(told),
            stacks=tuple(stacks),
            reasons=(bad("reason"),),
            outlook=(bad("outlook"),),
            gate=replace(snapshot.gate, words=bad("gate")),
        )
        made.append(FakePress(press.name, bad(press.title), worse, press.rows, press.events, {"tire": bad("t")}))
    return made


def harmless(app: App[None]) -> None:
    """Letters only, nothing to click that was typed into a ticket, and the markup stands there as it was typed."""
    text = "\n".join(screen_lines(app))  # type: ignore[arg-type]
    assert not dangerous(text), dangerous(text)
    for row in app.screen._compositor.render_strips():
        for segment in row:
            style = segment.style
            assert not dangerous(segment.text), segment
            if style is not None and style.meta:
                assert "app.quit" not in str(style.meta), segment
            if style is not None:
                assert style.link is None, segment


@pytest.mark.parametrize("keys", [(), ("1",), ("2",)], ids=str)
async def test_floor_press_and_alarms_draw_letters(keys: tuple[str, ...]) -> None:
    archive: FakeArchive = shop_of(hostile_presses())
    app = make_dashboard(archive)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.pause()
        for key in keys:
            await pilot.press(key)
            await pilot.pause()
        harmless(app)
        app.action_alarms()
        await pilot.pause()
        harmless(app)
        app.action_explain()
        await pilot.pause()
        harmless(app)


@pytest.mark.parametrize("which", [RecordsScreen, StoresScreen, CertificateScreen])
async def test_records_stores_and_certificate_draw_letters(tmp_path: Path, which: type) -> None:
    bench, number = make(tmp_path)
    app = over(Place(bench.path, bench.key, bench))
    async with app.run_test(size=SIZE) as pilot:
        if which is RecordsScreen:
            app.action_records()
        elif which is StoresScreen:
            app.action_stores()
        else:
            app.action_certificates(number)
        await settled(app, pilot)
        harmless(app)
        assert isinstance(app.screen, which)
        text = "\n".join(screen_lines(app))
        assert "[red]" in text or "Upper Mesa" in text or "23.5" in text or "B1" in text


class Careless(App[None]):
    """What the test above is to find: a ticket's text drawn as markup, and one drawn as it came."""

    def compose(self) -> ComposeResult:
        yield Static("[@click=app.quit]tire[/] [red]x[/red]")


async def test_the_look_bites() -> None:
    app = Careless()
    async with app.run_test(size=(40, 5)) as pilot:
        await pilot.pause()
        with pytest.raises(AssertionError):
            harmless(app)
    assert dangerous(BAD)
