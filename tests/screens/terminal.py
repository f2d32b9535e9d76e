"""A program in a real terminal: tmux, with a server of its own. Keys in, what stands on the screen out."""

from __future__ import annotations

import contextlib
import subprocess
import uuid
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from tests.crash.processes import until


class Terminal:
    """One window of `columns` x `rows`."""

    def __init__(self, server: str) -> None:
        self._server = server

    def _tmux(self, *words: str) -> str:
        done = subprocess.run(["tmux", "-L", self._server, *words], capture_output=True, text=True, check=True)
        return done.stdout

    def text(self) -> str:
        """What stands on the screen."""
        return self._tmux("capture-pane", "-p", "-t", "shift")

    def keys(self, *names: str) -> None:
        """Press keys by tmux's names: ``Enter``, ``Escape``, ``F10``, letters."""
        self._tmux("send-keys", "-t", "shift", *names)

    def type(self, words: str) -> None:
        """Type words as they are."""
        self._tmux("send-keys", "-t", "shift", "-l", words)

    def see(self, *words: str, deadline: float = 45.0) -> str:
        """Wait until all of these stand on the screen, and return it."""

        def shown() -> str | None:
            text = self.text()
            return text if all(w in text for w in words) else None

        try:
            found: str = until(shown, f"{words} on the screen", deadline)
        except AssertionError as error:
            raise AssertionError(f"{error}\n{self.text()}") from None
        return found

    def gone(self, words: str) -> None:
        """Wait until these stand there no more."""
        until(lambda: words not in self.text(), f"an end of {words!r} on the screen")

    @classmethod
    @contextlib.contextmanager
    def running(
        cls, command: Sequence[str], environ: Mapping[str, str], folder: Path, columns: int, rows: int
    ) -> Iterator[Terminal]:
        """Run a command in a fresh terminal; both end with the block."""
        terminal = cls(f"shift-{uuid.uuid4().hex[:12]}")
        settings = [word for name, value in environ.items() for word in ("-e", f"{name}={value}")]
        size = ["-x", str(columns), "-y", str(rows)]
        terminal._tmux(
            "-f", "/dev/null", "new-session", "-d", "-s", "shift", *size, *settings, "-c", str(folder), *command
        )
        try:
            yield terminal
        finally:
            with contextlib.suppress(subprocess.CalledProcessError):
                terminal._tmux("kill-server")
