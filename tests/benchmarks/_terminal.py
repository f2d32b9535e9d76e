"""An app in a pseudo-terminal of the size at which they are measured: what it paints is read as a terminal would."""

from __future__ import annotations

import os
import subprocess
import threading
import time
from collections.abc import Callable, Mapping, Sequence

__all__ = ["SIZE", "Terminal"]

SIZE = (200, 50)


class Terminal:
    """A command begun in a pseudo-terminal of its own, in `environ` or this process's environment.

    A context that ends it.
    """

    def __init__(self, command: Sequence[str], environ: Mapping[str, str] | None = None) -> None:
        import pty
        import termios

        self._master, slave = pty.openpty()
        termios.tcsetwinsize(slave, (SIZE[1], SIZE[0]))
        around = {**(os.environ if environ is None else environ), "TERM": "xterm-256color", "COLORTERM": "truecolor"}
        self.process = subprocess.Popen(list(command), stdin=slave, stdout=slave, stderr=slave, env=around)
        os.close(slave)
        self._painted, self._news = b"", threading.Condition()
        self._drain = threading.Thread(target=self._read, daemon=True)
        self._drain.start()

    def __enter__(self) -> Terminal:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _read(self) -> None:
        """Read what the app paints until its side is closed."""
        try:
            while some := os.read(self._master, 65536):
                with self._news:
                    self._painted = (self._painted + some)[-400_000:]
                    self._news.notify()
        except OSError:
            return

    @property
    def painted(self) -> bytes:
        """What it painted last."""
        with self._news:
            return self._painted

    def press(self, key: bytes, until: bytes) -> float:
        """Press a key; seconds until the words have been painted that it brings up."""
        with self._news:
            self._painted = b""
            begun = time.perf_counter()
            os.write(self._master, key)
        self.wait(lambda painted: until in painted)
        return time.perf_counter() - begun

    def wait(self, until: Callable[[bytes], bool], within: float = 30.0) -> None:
        """Wait until what has been painted is as it should be. Raises RuntimeError where that never comes."""
        with self._news:
            if not self._news.wait_for(lambda: until(self._painted), within):
                raise RuntimeError(f"it never came: {self._painted[-2000:]!r}")

    def close(self) -> None:
        """End it."""
        self.process.kill()
        self.process.wait()
        self._drain.join(5.0)
        os.close(self._master)
