"""The README's picture is what the demo shows."""

from __future__ import annotations

import re
from xml.etree import ElementTree

from tests.screens.make_pictures import FRAME, PICTURE, README, drawn, shown


async def test_the_readmes_picture_is_the_demo_as_it_is_drawn_now():
    kept = FRAME.search(README.read_text(encoding="utf-8"))
    assert kept is not None
    lines = await shown((80, 24), "")
    assert kept.group() == "".join(f"{line}\n" for line in lines)
    assert "PRESSURE LOST" in lines[0]
    assert lines[-1].endswith("15:11")


async def test_the_coloured_picture_is_the_demo_as_it_is_drawn_now():
    kept = PICTURE.read_text(encoding="utf-8")
    assert kept == await drawn((120, 36))
    assert f"({PICTURE.relative_to(README.parent).as_posix()})" in README.read_text(encoding="utf-8")


def test_the_coloured_picture_fetches_nothing():
    kept = PICTURE.read_text(encoding="utf-8")
    ElementTree.fromstring(kept)
    assert not re.search(r"url\((?!#)|@import|@font-face|href|<script|<image", kept)
    # The only address is the name of the format itself.
    assert set(re.findall(r"https?://[^\"'\s<)]+", kept)) == {"http://www.w3.org/2000/svg"}
    assert set(re.findall(r"font-family: ?([^;]*)", kept)) == {"monospace"}
