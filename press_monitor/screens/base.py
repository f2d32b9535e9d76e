"""What every full screen shares: the alarm bar on top, the keys below, and being renewed when the archive moved."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, ClassVar, cast

from textual.app import ComposeResult
from textual.screen import Screen
from textual.widget import Widget

from press_monitor.screens.let_go import drop_lines, let_go
from press_monitor.screens.topline import bar_words, heart_words, notice_words
from press_monitor.screens.widgets.bars import AlarmBar, Footline, FootWords, Key
from press_monitor.screens.widgets.palette import Tone
from press_monitor.screens.words import say_clock

if TYPE_CHECKING:
    from press_monitor.screens.app import Dashboard

__all__ = ["WatchScreen"]


class WatchScreen(Screen[None]):
    """A screen over the shop. Subclasses give `place`, `keys`, `body` and `renew_body`."""

    DEFAULT_CSS = "WatchScreen { background: $background; }"
    place: ClassVar[str] = ""
    EXPLAINED: ClassVar[tuple[str, str] | None] = None
    """For `?`: lines of keys (ending in a newline) and lines of what one sees, 76 cells wide, in the trade's words."""

    def __init__(self) -> None:
        super().__init__()
        self.bar = AlarmBar()
        self.foot = Footline()

    @property
    def dashboard(self) -> Dashboard:
        """The app, by its own type."""
        return cast("Dashboard", self.app)

    def keys(self) -> tuple[Key, ...]:
        """The few keys that matter here."""
        raise NotImplementedError

    def body(self) -> Iterable[Widget]:
        """What lies between the bars."""
        raise NotImplementedError

    def renew_body(self) -> None:
        """Show what the source saw last."""
        raise NotImplementedError

    def compose(self) -> ComposeResult:
        """Bar, body, keys."""
        yield self.bar
        yield from self.body()
        yield self.foot

    def on_mount(self) -> None:
        """Draw at once from what is known."""
        self.renew()

    def on_unmount(self) -> None:
        """Keep nothing of a screen that is gone."""
        drop_lines(self)
        let_go(self.dashboard)

    def on_screen_resume(self) -> None:
        """Catch up with what changed while another screen was on top."""
        self.renew()

    def on_resize(self) -> None:
        """Words depend on the width."""
        self.renew()

    def renew(self) -> None:
        """Show the newest state everywhere on the screen."""
        app = self.dashboard
        self.bar.say(bar_words(app.source, app.shop.name, app.units, app.shop.zone, self.size.width))
        self.renew_foot()
        self.renew_body()

    def renew_foot(self) -> None:
        """The bottom lines alone: the clock moves without the archive."""
        app = self.dashboard
        heart, tone = heart_words(app.source, demo=app.demo)
        notice, notice_tone = notice_words(app.source.notices)
        notice = app.hint or notice
        clock = say_clock(app.source.shop_now(), app.shop.zone)
        self.foot.say(
            FootWords(
                self.place,
                self.keys(),
                heart,
                tone,
                clock,
                notice or self.idle_words(),
                notice_tone if notice else self.idle_tone(),
            )
        )

    def may_leave(self, then: Callable[[], None]) -> bool:
        """Whether this screen may go now; one that has to ask first does `then` once the answer is yes."""
        return True

    def action_back(self) -> None:
        """To the screen before."""
        self.app.pop_screen()

    def idle_words(self) -> str:
        """Words for the line above the keys while no command waits for an answer."""
        return ""

    def idle_tone(self) -> Tone:
        """How those words feel."""
        return Tone.IDLE

    def on_alarm_bar_pressed(self) -> None:
        """A click on the bar is the key it names."""
        self.dashboard.action_acknowledge()

    async def on_footline_chosen(self, event: Footline.Chosen) -> None:
        """A click on a key's words is the key."""
        await self.app.run_action(event.action, default_namespace=self)
