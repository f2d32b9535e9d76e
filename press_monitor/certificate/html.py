"""A certificate as one web page: no script, nothing loaded from anywhere, prints as it reads.

Text of others is escaped and tamed; a content policy in the page forbids what no certificate needs. Charts are the
same drawings as on the PDF, as inline SVG with their content in words.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape
from typing import Final

from press_monitor.certificate.figure import figure
from press_monitor.certificate.letters import tame
from press_monitor.certificate.model import (
    Certificate,
    Chart,
    Code,
    Grid,
    Item,
    Pair,
    Section,
    Words,
    described,
)
from press_monitor.certificate.svg import code_svg, figure_svg

__all__ = ["render_html"]

SIZES: Final = {"shop": ((520.0, 158.0), (252.0, 132.0)), "customer": ((520.0, 94.0), (252.0, 80.0))}
"""Of a chart over the whole width, and of one over half of it."""

SIGNS: Final = {
    "pass": ("#17603a", "#eaf4ed", "✔"),
    "exceptions": ("#5c5300", "#f6f3df", "◆"),
    "review": ("#8a4200", "#fbeee0", "▲"),
    "fail": ("#951616", "#f9e6e6", "✘"),
    "incomplete": ("#4a4a4a", "#eeeeee", "○"),
}

STYLE: Final = """
:root{color-scheme:light}
*{box-sizing:border-box}
body{margin:0;background:#ececec;color:#1a1a1a;font:15px/1.45 "DejaVu Sans","Segoe UI","Noto Sans",system-ui,sans-serif}
.page{background:#fff;max-width:62rem;margin:0 auto;padding:0 2.4rem 2rem;overflow-wrap:anywhere}
.banner p{background:#1a1a1a;color:#fff;font-weight:700;text-align:center;text-transform:uppercase;margin:0;
padding:.35em .6em;letter-spacing:.02em}
.banner p+p{border-top:1px solid #fff}
header h1{font-size:2rem;line-height:1.2;margin:1.2rem 0 .1rem}
header p,footer{color:#5a5a5a;margin:0}
h2{font-size:1.12rem;border-bottom:1px solid #c9c9c9;padding-bottom:.2rem;margin:1.6rem 0 .6rem}
p{margin:.25rem 0}
ul{margin:.3rem 0;padding-left:1.2rem}
.panel{border-left:5px solid var(--ink);background:var(--tint);padding:.7rem 1rem;margin:.8rem 0}
.panel .strong{font-size:1.45rem;line-height:1.25;color:var(--ink)}
.panel h2{border:0;margin:0;padding:0;font-size:.85rem;font-weight:400;color:#5a5a5a}
.panels{display:grid;grid-template-columns:3fr 2fr;gap:1rem}
.strong{font-weight:700}
dl{display:grid;grid-template-columns:repeat(auto-fill,minmax(19rem,1fr));gap:.15rem 1.4rem;margin:.4rem 0}
dl div{display:grid;grid-template-columns:9.5rem 1fr;gap:.6rem}
dl div.exact{grid-column:1/-1}
dt{color:#5a5a5a}
dd{margin:0}
.exact dd{font:.86em/1.5 ui-monospace,"DejaVu Sans Mono",Consolas,monospace}
.table{overflow-x:auto}
table{border-collapse:collapse;margin:.4rem 0}
th,td{text-align:left;vertical-align:top;padding:.18rem 1.1rem .18rem 0;border-bottom:1px solid #d8d8d8}
thead th{color:#5a5a5a}
tbody th{font-weight:400}
.number{text-align:right}
figure{margin:.6rem 0;break-inside:avoid}
figure svg{display:block;width:100%;height:auto;font-family:inherit}
.halves{display:grid;grid-template-columns:1fr 1fr;gap:1rem;break-inside:avoid}
.code{display:grid;grid-template-columns:11rem 1fr;gap:1.2rem;align-items:start;break-inside:avoid}
.code svg{width:11rem;height:11rem}
.code pre{font:.72em/1.4 ui-monospace,"DejaVu Sans Mono",Consolas,monospace;white-space:pre-wrap;
overflow-wrap:anywhere;margin:.3rem 0}
footer{border-top:1px solid #c9c9c9;margin-top:1.6rem;padding:.4rem 0;font-size:.85rem}
@media (max-width:44rem){.page{padding:0 1rem 1rem}.panels,.halves,.code{grid-template-columns:1fr}
dl div{grid-template-columns:8rem 1fr}}
@media print{
body{background:#fff;font-size:9.5pt;-webkit-print-color-adjust:exact;print-color-adjust:exact}
.page{display:table;width:100%;max-width:none;padding:0}
.page>.banner{display:table-header-group;break-inside:avoid}
.page>.banner p{margin-bottom:3mm}
footer{font-size:8pt}
footer .banner{display:none}
h2{break-after:avoid}
tr,dl div,li,.panel{break-inside:avoid}
dl{grid-template-columns:1fr 1fr}
dl div{grid-template-columns:31mm 1fr}
}
"""
PAPER: Final = "@page{{size:{size};margin:{margin}}}"
CUSTOMER: Final = """
@media print{body{font-size:7.6pt;line-height:1.24}header h1{font-size:15pt;margin:.2rem 0 0}
h2{margin:.45rem 0 .2rem;font-size:9pt;padding-bottom:.1rem}.panel{padding:.3rem .6rem;margin:.35rem 0}
.panel .strong{font-size:11pt}.panel h2{font-size:7pt}figure{margin:.15rem 0}dl{margin:.2rem 0}
.code{grid-template-columns:35mm 1fr}.code svg{width:35mm;height:35mm}.code pre{display:none}
footer{margin-top:.3rem;padding:.1rem 0;font-size:6.6pt}ul{margin:.1rem 0}p{margin:.1rem 0}
.page>.banner p{margin-bottom:1mm}
}
"""
LABEL: Final = """
.page{max-width:38rem;padding:1rem;display:grid;grid-template-columns:1fr 17rem;gap:1rem}
.page>*{grid-column:1}.page>.qr{grid-column:2;grid-row:1/6}.qr svg{width:100%}
header h1{margin:0;font-size:2.6rem}dl{grid-template-columns:1fr}dl div{grid-template-columns:5.5rem 1fr}
@media print{body{font-size:6.6pt;line-height:1.22}.page{display:grid;width:auto;padding:0;gap:1mm 2mm;
grid-template-columns:1fr 45mm}.page>.banner{display:block}.page>.banner p{font-size:5pt;margin:0;padding:.2em}
header h1{font-size:20pt}dl,p{margin:0}dl{grid-template-columns:1fr}dl div{grid-template-columns:17mm 1fr;gap:1mm}
dl div:first-child{font-weight:700}
.qr svg{width:44mm;height:44mm}footer{display:none}.page{height:45mm;overflow:hidden}
dd,header p{display:-webkit-box;-webkit-box-orient:vertical;-webkit-line-clamp:2;overflow:hidden}}
"""


def render_html(certificate: Certificate, paper: str) -> str:
    """The page, ending in a newline; `paper` (``letter`` or ``a4``) is what it prints on."""
    us = paper == "letter"
    if certificate.copy == "label":
        size, margin, style = ("4in 2in" if us else "100mm 50mm"), "2.5mm", STYLE + LABEL
    else:
        customer = certificate.copy == "customer"
        size, margin = ("letter" if us else "A4"), "8mm 14mm" if customer else "13mm 15mm 12mm"
        style = STYLE + (CUSTOMER if customer else "")
    ink, tint, _ = SIGNS.get(certificate.verdict, ("#1f4e8c", "#e9eff7", ""))
    style = f":root{{--ink:{ink};--tint:{tint}}}{style}{PAPER.format(size=size, margin=margin)}"
    body = "".join(_label(certificate) if certificate.copy == "label" else _page(certificate))
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width,initial-scale=1">\n'
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\n"
        f"<title>{_text(certificate.title)}</title>\n<style>{style}</style>\n</head>\n<body>\n"
        f'<div class="page">\n{body}</div>\n</body>\n</html>\n'
    )


def _text(text: str) -> str:
    return escape(tame(text))


def _banner(certificate: Certificate) -> str:
    if not certificate.banners:
        return ""
    said = "".join(f"<p>{_text(text)}</p>" for text in certificate.banners)
    return f'<div class="banner" role="note">{said}</div>\n'


def _header(certificate: Certificate) -> str:
    return f"<header><h1>{_text(certificate.title)}</h1><p>{_text(certificate.subtitle)}</p></header>\n"


def _page(certificate: Certificate) -> Iterator[str]:
    yield _banner(certificate)
    yield _header(certificate)
    yield "<main>\n"
    sign = SIGNS.get(certificate.verdict, ("", "", ""))[2]
    sections = list(certificate.sections)
    while sections:
        section = sections.pop(0)
        if section.key == "verdict" and certificate.copy == "customer":
            inspection = sections.pop(0)
            yield '<div class="panels">'
            yield _panel(section, sign)
            yield _panel(inspection, "", "--ink:#1f4e8c;--tint:#e9eff7")
            yield "</div>\n"
        elif section.key == "verdict":
            yield _panel(section, sign)
        else:
            yield f'<section aria-labelledby="{section.key}"><h2 id="{section.key}">{_text(section.title)}</h2>\n'
            yield from _items(section.items, certificate.copy)
            yield "</section>\n"
    yield "</main>\n"
    yield f"<footer>{_banner(certificate)}<p>{_text(certificate.footer)}</p></footer>\n"


def _panel(section: Section, sign: str, style: str = "") -> str:
    marked = f' style="{style}"' if style else ""
    heading = f'<h2 id="{section.key}">{_text(section.title)}</h2>'
    items = list(section.items)
    for place, item in enumerate(items):
        if isinstance(item, Words) and item.strong:
            shown = f'<p class="strong"><span aria-hidden="true">{sign}</span> {_text(item.text)}</p>'
            rest = "".join(_items(items[place + 1 :]))
            return f'<section class="panel" aria-labelledby="{section.key}"{marked}>{heading}{shown}{rest}</section>\n'
    return f'<section class="panel"{marked}>{heading}{"".join(_items(items))}</section>\n'


def _items(items: Sequence[Item], copy: str = "shop") -> Iterator[str]:
    i = 0
    while i < len(items):
        item = items[i]
        match item:
            case Pair():
                end = _until(items, i, Pair)
                yield "<dl>" + "".join(_pair(each) for each in items[i:end] if isinstance(each, Pair)) + "</dl>\n"
                i = end
                continue
            case Words(bullet=True):
                end = i
                said = []
                while end < len(items) and isinstance(each := items[end], Words) and each.bullet:
                    said.append(f"<li>{_text(each.text)}</li>")
                    end += 1
                yield f"<ul>{''.join(said)}</ul>\n"
                i = end
                continue
            case Words(text, _, strong):
                yield f'<p class="strong">{_text(text)}</p>\n' if strong else f"<p>{_text(text)}</p>\n"
            case Grid():
                yield _grid(item)
            case Chart():
                following = items[i + 1] if i + 1 < len(items) else None
                if item.half and isinstance(following, Chart) and following.half:
                    yield f'<div class="halves">{_chart(item, copy)}{_chart(following, copy)}</div>\n'
                    i += 1
                else:
                    yield _chart(item, copy)
            case Code(text, caption):
                words = f"QR code: {text.splitlines()[0]}, hash, key and signature as text beside it"
                yield f'<div class="code">{code_svg(text, words)}<div>'
                yield f"<p>{_text(caption)}</p>"
                yield from _items(items[i + 1 :], copy)
                yield f"<pre>{escape(text)}</pre></div></div>\n"
                return
        i += 1


def _until(items: Sequence[Item], start: int, kind: type) -> int:
    end = start
    while end < len(items) and isinstance(items[end], kind):
        end += 1
    return end


def _pair(pair: Pair) -> str:
    exact = ' class="exact"' if pair.exact else ""
    return f"<div{exact}><dt>{_text(pair.label)}</dt><dd>{_text(pair.value)}</dd></div>"


def _grid(grid: Grid) -> str:
    def cell(place: int, text: str, tag: str, scope: str = "") -> str:
        number = ' class="number"' if place in grid.numeric else ""
        about = f' scope="{scope}"' if scope else ""
        return f"<{tag}{about}{number}>{_text(text)}</{tag}>"

    head = "".join(cell(i, text, "th", "col") for i, text in enumerate(grid.head))
    rows = "".join(
        f"<tr>{cell(0, row[0], 'th', 'row')}{''.join(cell(i, text, 'td') for i, text in enumerate(row) if i)}</tr>"
        for row in grid.rows
    )
    return f'<div class="table"><table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>\n'


def _chart(chart: Chart, copy: str) -> str:
    drawn = figure(chart, *SIZES[copy][chart.half])
    kind = "half" if chart.half else "wide"
    return f'<figure class="{kind}">{figure_svg(drawn, f"{chart.title}, {chart.unit}", described(chart))}</figure>\n'


def _label(certificate: Certificate) -> Iterator[str]:
    yield _banner(certificate)
    yield _header(certificate)
    pairs = [item for item in certificate.section("job").items if isinstance(item, Pair)]
    yield "<main><dl>" + "".join(map(_pair, pairs)) + "</dl></main>\n"
    code = next(item for item in certificate.section("seal").items if isinstance(item, Code))
    yield f'<div class="qr">{code_svg(code.text, f"QR code: {code.text.splitlines()[0]}")}</div>\n'
    yield f"<footer><p>{_text(certificate.footer)}</p></footer>\n"
