"""Letters in the order and shape in which they are drawn, for page makers that draw them one by one.

Right-to-left text is put into visual order and Arabic letters into their joined forms, by the Unicode bidirectional
algorithm (UAX #9) without its embedding controls, which `letters.tame` has taken out, and without its paired brackets;
the paragraph runs from left to right, as the page does. Joined forms are those that Unicode keeps for compatibility.
"""

from __future__ import annotations

import unicodedata
from functools import cache

__all__ = ["has_right_to_left", "visual"]

LAM = "\u0644"
ALEFS = ("\u0622", "\u0623", "\u0625", "\u0627")
_TO_RIGHT = ("R", "AN", "EN")


def has_right_to_left(text: str) -> bool:
    """Whether any of it runs from right to left."""
    return not text.isascii() and any(unicodedata.bidirectional(c) in ("R", "AL", "AN") for c in text)


def visual(text: str) -> str:
    """One line of tamed text as it is drawn from left to right."""
    if not has_right_to_left(text):
        return text
    text = _joined(text)
    return _ordered(text, _levels([unicodedata.bidirectional(c) or "ON" for c in text]))


def _levels(kinds: list[str]) -> list[int]:
    """UAX #9, rules W1 to W7, N1, N2, I1 in a left-to-right paragraph."""
    original = list(kinds)
    strong, before = "L", "L"
    for i, kind in enumerate(kinds):  # W1, W2, W3
        if kind == "NSM":
            kinds[i] = before
        elif kind == "EN" and strong == "AL":
            kinds[i] = "AN"
        if kind in ("L", "R", "AL"):
            strong = kind
        before = kinds[i]
    kinds[:] = ["R" if kind == "AL" else kind for kind in kinds]
    for i in range(1, len(kinds) - 1):  # W4
        around = kinds[i - 1], kinds[i + 1]
        if (kinds[i] in ("ES", "CS") and around == ("EN", "EN")) or (kinds[i] == "CS" and around == ("AN", "AN")):
            kinds[i] = around[0]
    _runs(kinds, ("ET",), lambda left, right: "EN" if "EN" in (left, right) else None)  # W5
    kinds[:] = ["ON" if kind in ("ES", "ET", "CS") else kind for kind in kinds]  # W6
    strong = "L"
    for i, kind in enumerate(kinds):  # W7
        if kind in ("L", "R"):
            strong = kind
        elif kind == "EN" and strong == "L":
            kinds[i] = "L"
    neutral = ("B", "S", "WS", "ON", "BN")

    def between(left: str, right: str) -> str:  # N1, N2
        sides = {"R" if side in _TO_RIGHT else "L" for side in (left, right)}
        return "R" if sides == {"R"} else "L"

    _runs(kinds, neutral, between)
    for i in range(len(kinds) - 1, -1, -1):  # L1: blanks at the end of the line
        if original[i] not in ("WS", "S", "B", "BN"):
            break
        kinds[i] = "L"
    return [1 if kind == "R" else 2 if kind in ("AN", "EN") else 0 for kind in kinds]


def _runs(kinds: list[str], of: tuple[str, ...], decide) -> None:  # type: ignore[no-untyped-def]  # noqa: ANN001
    i = 0
    while i < len(kinds):
        end = i
        while end < len(kinds) and kinds[end] in of:
            end += 1
        if end > i:
            left = kinds[i - 1] if i else "L"
            right = kinds[end] if end < len(kinds) else "L"
            made = decide(left, right)
            if made is not None:
                kinds[i:end] = [made] * (end - i)
        i = max(end, i + 1)


def _ordered(text: str, levels: list[int]) -> str:
    """UAX #9, rules L2 to L4; a letter's marks stay behind it."""
    clusters: list[tuple[str, int]] = []
    for letter, level in zip(text, levels, strict=True):
        if clusters and unicodedata.combining(letter) and level:
            clusters[-1] = (clusters[-1][0] + letter, clusters[-1][1])
        else:
            mirrored = _mirror(letter) if level % 2 else letter
            clusters.append((mirrored, level))
    for level in range(max(levels, default=0), 0, -1):
        i = 0
        while i < len(clusters):
            end = i
            while end < len(clusters) and clusters[end][1] >= level:
                end += 1
            clusters[i:end] = reversed(clusters[i:end])
            i = max(end, i + 1)
    return "".join(text for text, _ in clusters)


_PAIRS = "()[]{}<>«»‹›"


def _mirror(letter: str) -> str:
    place = _PAIRS.find(letter)
    return letter if place < 0 else _PAIRS[place ^ 1]


@cache
def _forms() -> dict[tuple[str, str], str]:
    """Joined forms by (form, letters), read from Unicode's own decompositions."""
    forms: dict[tuple[str, str], str] = {}
    for code in (*range(0xFB50, 0xFE00), *range(0xFE70, 0xFEFD)):
        parts = unicodedata.decomposition(chr(code)).split()
        if parts and parts[0] in ("<isolated>", "<final>", "<initial>", "<medial>"):
            letters = "".join(chr(int(part, 16)) for part in parts[1:])
            if len(letters) == 1 or letters[:1] == LAM:
                forms.setdefault((parts[0][1:-1], letters), chr(code))
    return forms


def _joined(text: str) -> str:
    """Arabic letters in their initial, medial, final and isolated forms, lam and alef as one."""
    forms = _forms()
    shown = [i for i, c in enumerate(text) if not unicodedata.combining(c)]
    joins_next = {c for (form, c) in forms if form == "initial"} | {"\u0640"}
    joins_last = {c for (form, c) in forms if form == "final"} | {"\u0640"}
    out = list(text)
    skip = -1
    for place, i in enumerate(shown):
        letter = text[i]
        if i == skip:
            continue
        if letter not in joins_last:
            out[i] = forms.get(("isolated", letter), letter)
            continue
        before = text[shown[place - 1]] if place else ""
        follows = text[shown[place + 1]] if place + 1 < len(shown) else ""
        linked = before in joins_next
        if letter == LAM and follows in ALEFS:
            out[i] = forms["final" if linked else "isolated", letter + follows]
            skip = shown[place + 1]
            out[skip] = ""
            continue
        leads = letter in joins_next and follows in joins_last and follows != ""
        form = ("medial" if linked else "initial") if leads else ("final" if linked else "isolated")
        out[i] = forms.get((form, letter), letter)
    return "".join(out)
