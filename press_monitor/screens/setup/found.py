"""What a check of the installation found, as a list."""

from __future__ import annotations

import asyncio
import textwrap
from collections.abc import Hashable, Sequence
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.containers import Vertical

from press_monitor.screens.background import begin
from press_monitor.screens.widgets.cells import Cells, plain
from press_monitor.screens.widgets.drawn import Drawn
from press_monitor.screens.widgets.palette import Look, Tone
from press_monitor.setup.findings import Finding, State

if TYPE_CHECKING:
    from press_monitor.screens.setup.hands import Hands

__all__ = ["CheckPage", "FindingList"]


class FindingList(Drawn):
    """What a check found, problems first, each with what to do."""

    _TONES: ClassVar[dict[State, Tone]] = {
        State.FINE: Tone.FINE,
        State.NOTE: Tone.IDLE,
        State.PROBLEM: Tone.ALARM,
    }

    def __init__(self) -> None:
        super().__init__()
        self.findings: Sequence[Finding] = ()
        self.first = 0
        self.words = "Looking …"

    def key(self) -> Hashable:
        """The findings, and where the list begins."""
        return (tuple(self.findings), self.first, self.words)

    def show(self, findings: Sequence[Finding]) -> None:
        """Show others, the problems first."""
        order = {State.PROBLEM: 0, State.NOTE: 1, State.FINE: 2}
        self.findings, self.first = sorted(findings, key=lambda f: order[f.state]), 0
        self.touch()

    def move(self, step: int) -> None:
        """Scroll by findings."""
        self.first = min(max(0, self.first + step), max(0, len(self.findings) - 1))
        self.touch()

    def draw(self, width: int, height: int, look: Look) -> Cells:
        """A line a finding, and what to do under it."""
        palette, signs = look.palette, look.signs
        cells = Cells(width, height, palette.panel, palette.text)
        if not self.findings:
            cells.text(1, 0, self.words, palette.dim)
            return cells
        bad = sum(f.state is State.PROBLEM for f in self.findings)
        head = f"{bad} problem{'' if bad == 1 else 's'}" if bad else "Nothing is wrong"
        cells.text(1, 0, head, palette.tone(Tone.ALARM if bad else Tone.FINE), bold=True)
        row = 1
        for finding in self.findings[self.first :]:
            ink = palette.tone(self._TONES[finding.state])
            cells.text(1, row, signs.tone(self._TONES[finding.state]), ink, bold=True)
            cells.text(3, row, finding.check, palette.text, bold=finding.state is State.PROBLEM, most=12)
            quiet = palette.dim if finding.state is State.FINE else palette.text
            for line in textwrap.wrap(plain(finding.words), max(12, width - 17)):
                cells.text(16, row, line, quiet)
                row += 1
            for line in textwrap.wrap(plain(finding.do), max(12, width - 19)):
                cells.text(
                    18, row, line, palette.tone(Tone.ATTENTION) if finding.state is State.PROBLEM else palette.dim
                )
                row += 1
            if row >= height:
                break
        return cells


class CheckPage(Vertical):
    """The list, filled off the screen's thread."""

    def __init__(self, hands: Hands) -> None:
        super().__init__(id="check", classes="page")
        self.hands = hands
        self.findings = FindingList()
        self.looked = False
        """Whether what stands there still holds."""

    def compose(self) -> ComposeResult:
        """The list alone."""
        yield self.findings

    def look(self) -> None:
        """Check, or check again."""
        self.looked = True
        self.findings.show(())
        begin(self, self._looked, "check")

    async def _looked(self) -> None:
        self.findings.show(await asyncio.to_thread(self.hands.examine))
