"""What the setup screen cannot do by itself: whoever starts the dashboard knows the files and who records."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from press_monitor.setup.findings import Finding
    from press_monitor.setup.steps import Facts

__all__ = ["Hands"]


def _write_checked(path: Path, text: str) -> None:
    from press_monitor.setup.shopfile import write_checked  # with serial ports and more: the floor must not wait for it

    write_checked(path, text)


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
    write: Callable[[Path, str], None] = _write_checked
