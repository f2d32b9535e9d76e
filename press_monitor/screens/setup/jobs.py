"""Ports off the screen's thread: one at a time, let go at once when told to, never waited for by the screen."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable

from press_monitor.screens.widgets.cells import plain
from press_monitor.setup.steps import Listen, Tried, Try
from press_monitor.setup.trying import do_listen, do_try, do_watch

__all__ = ["PortJobs"]

Lines = Callable[[tuple[str, ...]], None]


class PortJobs:
    """Listens, tries, watches. `shown` hears of every line, on the screen's thread; nothing comes from a job that was
    stopped.
    """

    def __init__(self, shown: Lines) -> None:
        self._shown = shown
        self._stop = threading.Event()
        self._busy: asyncio.Future[Tried] | None = None

    @property
    def busy(self) -> bool:
        """Whether a port may still be open."""
        return self._busy is not None and not self._busy.done()

    def stop(self) -> None:
        """Let the port go: the thread does so within a fifth of a second, by itself."""
        self._stop.set()

    async def listen(self, step: Listen) -> Tried | None:
        """Listen at each baud; None where it was stopped."""
        said: list[str] = []
        return await self._run(
            lambda stop, tell: do_listen(step, lambda h: tell((*_add(said, plain(h.words)),)), stop=stop.is_set)
        )

    async def attempt(self, step: Try) -> Tried | None:
        """Try the press for a few seconds; None where it was stopped."""
        return await self._run(
            lambda stop, tell: do_try(step, lambda line: tell(tuple(map(plain, line.split(", ")))), stop=stop.is_set)
        )

    async def watch(self, step: Try) -> Tried | None:
        """Show the press's values until it is stopped."""
        return await self._run(
            lambda stop, tell: do_watch(
                step, lambda now: tell(tuple(f"{name:<16}{value}" for name, value in now.items())), stop=stop.is_set
            )
        )

    async def _run(self, work: Callable[[threading.Event, Lines], Tried]) -> Tried | None:
        """One job after the other: the next opens the port only once the last has let it go."""
        self._stop.set()
        stop = self._stop = threading.Event()
        before, loop = self._busy, asyncio.get_running_loop()
        if before is not None and not before.done():
            await asyncio.wait([before])
        if stop.is_set():
            return None

        def tell(lines: tuple[str, ...]) -> None:
            if not stop.is_set():
                loop.call_soon_threadsafe(self._tell, stop, lines)

        job = self._busy = asyncio.ensure_future(asyncio.to_thread(work, stop, tell))
        # Shielded: a screen that goes away stops the thread by its event, and must not lose sight of it.
        done = await asyncio.shield(job)
        return None if stop.is_set() else done

    def _tell(self, stop: threading.Event, lines: tuple[str, ...]) -> None:
        if not stop.is_set():
            self._shown(lines)


def _add(said: list[str], words: str) -> list[str]:
    said.append(words)
    return said
