"""What the setup screen cannot do by itself: whoever starts the dashboard knows the files and who records."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from press_monitor.setup.findings import Finding
from press_monitor.setup.shopfile import write_checked
from press_monitor.setup.steps import Facts

__all__ = ["Hands"]


@dataclass(frozen=True, slots=True)
class Hands:
    """Each may take a while and is called off the screen's thread.

    Attributes:
        shop_file: what setup writes; it need not exist yet.
        facts: the shop file's text, the ports there are and who holds them. Raises `ShopError` for a file that cannot
            be read.
        examine: what `press-monitor check` finds; opens no port.
        recording: whether a recorder runs, which reads the shop file only when it starts.
        write: puts the finished text in place. Raises `ShopError` and OSError.
    """

    shop_file: Path
    facts: Callable[[], Facts]
    examine: Callable[[], Sequence[Finding]]
    recording: Callable[[], bool]
    write: Callable[[Path, str], None] = write_checked
