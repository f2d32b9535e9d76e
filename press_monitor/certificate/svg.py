"""A drawn chart and a QR code as inline SVG."""

from __future__ import annotations

from html import escape

from press_monitor.certificate.code import QUIET_ZONE, code_rows
from press_monitor.certificate.figure import Area, Curve, Figure, Label, Rule
from press_monitor.certificate.letters import tame

__all__ = ["code_svg", "figure_svg"]


def _number(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _dash(dash: tuple[float, ...]) -> str:
    return f' stroke-dasharray="{" ".join(map(_number, dash))}"' if dash else ""


def figure_svg(drawn: Figure, name: str, words: str) -> str:
    """The chart as one image: `name` is its title, `words` say to who cannot see it what it shows."""
    parts = [
        f'<svg viewBox="0 0 {_number(drawn.width)} {_number(drawn.height)}" role="img"'
        f' aria-label="{escape(tame(f"{name}. {words}"))}" preserveAspectRatio="xMidYMid meet">'
    ]
    for shape in drawn.shapes:
        match shape:
            case Rule(x1, y1, x2, y2, ink, width, dash):
                parts.append(
                    f'<path d="M{_number(x1)} {_number(y1)}L{_number(x2)} {_number(y2)}" stroke="{ink}"'
                    f' stroke-width="{_number(width)}"{_dash(dash)}/>'
                )
            case Area(x, y, width, height, ink):
                parts.append(
                    f'<rect x="{_number(x)}" y="{_number(y)}" width="{_number(width)}" height="{_number(height)}"'
                    f' fill="{ink}"/>'
                )
            case Label(x, y, text, size, anchor, ink, strong):
                weight = ' font-weight="700"' if strong else ""
                parts.append(
                    f'<text x="{_number(x)}" y="{_number(y)}" font-size="{_number(size)}" text-anchor="{anchor}"'
                    f' fill="{ink}"{weight}>{escape(tame(text))}</text>'
                )
            case Curve(points, ink, width, dash, name_):
                line = " ".join(f"{_number(x)},{_number(y)}" for x, y in points)
                parts.append(
                    f'<polyline data-name="{escape(name_)}" points="{line}" fill="none" stroke="{ink}"'
                    f' stroke-width="{_number(width)}" stroke-linejoin="round" stroke-linecap="round"{_dash(dash)}/>'
                )
    parts.append("</svg>")
    return "".join(parts)


def code_svg(text: str, words: str) -> str:
    """A QR code with its white rim."""
    modules, bars = code_rows(text)
    side = modules + 2 * QUIET_ZONE
    path = "".join(f"M{column + QUIET_ZONE} {row + QUIET_ZONE}h{length}v1h-{length}z" for row, column, length in bars)
    return (
        f'<svg viewBox="0 0 {side} {side}" role="img" aria-label="{escape(words)}" shape-rendering="crispEdges">'
        f'<rect width="{side}" height="{side}" fill="#fff"/><path d="{path}" fill="#000"/></svg>'
    )
