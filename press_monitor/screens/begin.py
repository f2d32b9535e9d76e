"""Work in the background, off the keys."""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from textual.dom import DOMNode
    from textual.worker import WorkType

__all__ = ["begin"]


def begin(
    node: DOMNode, work: Callable[[], Coroutine[None, None, None]], group: str, *, exclusive: bool = True
) -> None:
    """Begin something in the background. Made when it begins: what a newer one replaces before is never half there."""
    begun: WorkType[None] = work
    node.run_worker(begun, group=group, exclusive=exclusive)
