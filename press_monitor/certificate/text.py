"""A certificate as plain text, 80 columns at most: for a terminal, a printer or a mail."""

from __future__ import annotations

from collections.abc import Sequence

from press_monitor.certificate.letters import cells, tame
from press_monitor.certificate.model import Certificate, Chart, Code, Grid, Item, Pair, Section, Words

__all__ = ["WIDTH", "render", "render_items", "render_sections"]

WIDTH = 80
LABEL = 22


def render(certificate: Certificate) -> str:
    """The whole certificate, ending in a newline. The same content gives the same text."""
    lines = ["=" * WIDTH, *_wrap(certificate.title, ""), *_wrap(certificate.subtitle, ""), "=" * WIDTH]
    banner = [line for said in certificate.banners for line in _wrap(said.upper(), "")]
    lines.extend(banner)
    lines.extend(_sections(certificate.sections))
    if banner or certificate.footer:
        lines.extend(["", *banner])
    if certificate.footer:
        lines.extend(_wrap(certificate.footer, ""))
    lines.append("=" * WIDTH)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def render_sections(sections: Sequence[Section]) -> str:
    """Sections alone, as a command prints them, without a newline at either end."""
    return "\n".join(line.rstrip() for line in _sections(sections)).strip("\n")


def _sections(sections: Sequence[Section]) -> list[str]:
    lines: list[str] = []
    for section in sections:
        lines.extend(["", section.title.upper(), "-" * WIDTH])
        lines.extend(render_items(section.items))
    return lines


def render_items(items: Sequence[Item]) -> list[str]:
    """Items as lines of at most 80 columns."""
    lines: list[str] = []
    for item in items:
        match item:
            case Pair():
                lines.extend(_pair(item.label, item.value))
            case Words(text, bullet, strong):
                shown = text.upper() if strong else text
                lines.extend(_wrap(shown, "  - " if bullet else ""))
            case Grid():
                lines.extend(_grid(item))
            case Chart():
                from press_monitor.certificate.plot import draw  # with numpy, which a list of records does without

                lines.extend(["", *draw(item, WIDTH)])
            case Code(text, caption):
                lines.extend(_wrap(caption, ""))
                lines.extend(f"  {part}" for line in text.splitlines() for part in _wrap(line, "", WIDTH - 2))
    return lines


def _wrap(text: str, mark: str, width: int = WIDTH) -> list[str]:
    """Break at spaces, and inside a word only where it alone is too long; counted in terminal columns."""
    room = width - len(mark)
    lines: list[str] = []
    line = ""
    for word in tame(text).split():
        pieces = _pieces(word, room)
        for piece in pieces:
            if not line:
                line = piece
            elif cells(line) + 1 + cells(piece) <= room:
                line = f"{line} {piece}"
            else:
                lines.append(line)
                line = piece
    lines.append(line)
    indent = " " * len(mark)
    return [(mark if number == 0 else indent) + each for number, each in enumerate(lines)]


def _pieces(word: str, room: int) -> list[str]:
    pieces, piece = [], ""
    for letter in word:
        if cells(piece) + cells(letter) > room:
            pieces.append(piece)
            piece = ""
        piece += letter
    return [*pieces, piece]


def _pair(label: str, value: str) -> list[str]:
    label = tame(label)
    if cells(label) >= LABEL:
        return [*_wrap(label, ""), *_wrap(value, " " * LABEL)]
    first, *rest = _wrap(value, " " * LABEL)
    return [label + " " * (LABEL - cells(label)) + first[LABEL:], *rest]


def _grid(grid: Grid) -> list[str]:
    """Columns as wide as they must be; the widest gives way first, and its cells break over lines."""
    rows = [tuple(tame(cell) for cell in row) for row in (grid.head, *grid.rows)]
    widths = [max(1, *(cells(row[i]) for row in rows)) for i in range(len(grid.head))]
    while sum(widths) + 2 * (len(widths) - 1) > WIDTH:
        widths[widths.index(max(widths))] -= 1
    lines = []
    for number, row in enumerate(rows):
        broken = [_wrap(cell, "", widths[i]) for i, cell in enumerate(row)]
        for level in range(max(map(len, broken))):
            parts = []
            for i, cell in enumerate(broken):
                text = cell[level] if level < len(cell) else ""
                blank = " " * (widths[i] - cells(text))
                parts.append(blank + text if i in grid.numeric else text + blank)
            lines.append("  ".join(parts).rstrip())
        if number == 0:
            lines.append("  ".join("-" * width for width in widths))
    return lines
