"""The ticket: one form for files, commands and records; what is wrong in it is named."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from press_monitor.archive import ticket as module
from press_monitor.archive.ticket import Ticket, load_ticket, read_ticket
from press_monitor.tables import ShopError

TODAY = date(2031, 1, 1)


@pytest.fixture
def example(tmp_path: Path) -> Path:
    """The file that the module itself shows."""
    found = re.search(r"```toml\n(.*?)```", module.__doc__ or "", re.DOTALL)
    assert found
    path = tmp_path / "ticket.toml"
    path.write_text(found[1], "utf-8")
    return path


def test_the_example_says_everything_there_is_to_say(example: Path) -> None:
    ticket = load_ticket(example, TODAY)
    silent = {name for name in Ticket.__slots__ if not getattr(ticket, name) and getattr(ticket, name) is not False}
    assert silent == set()
    assert (ticket.tin, ticket.tin_week) == ("1H4ABCDEF0109", "2009-01-04 to 2009-01-10")
    assert ticket.cement_dry_s == 2700.0
    assert ticket.materials[0].expires == date(2031, 5, 4)
    assert list(ticket.items()) == [
        ("lot", "SG-2203"),
        ("bag", "B3"),
        ("mat", "M1"),
        ("mat", "M2"),
        ("probe", "K-17"),
    ]


def test_what_is_recorded_reads_back_the_same(example: Path) -> None:
    ticket = load_ticket(example, TODAY)
    assert read_ticket(ticket.to_json(), TODAY) == ticket
    assert read_ticket({}, TODAY).to_json() == {}


def test_a_ticket_taken_over_brings_no_overrides() -> None:
    old = {"tire": "12-16.5", "overrides": [{"what": "lot X", "by": "nobody", "reason": "none"}], "log": "a.csv"}
    assert read_ticket(old, TODAY).to_json() == {"tire": "12-16.5"}


@pytest.mark.parametrize(
    ("data", "says"),
    [
        ({"custmer": "x"}, "custmer: is not a known key; did you mean customer?"),
        ({"customer": 7}, "customer: wants text"),
        ({"customer": "x" * 201}, "customer: is longer than 200 letters"),
        ({"customer": "a\x1b[2Jb"}, "customer: holds a character that cannot be printed"),
        ({"tin": "1G4ABCDEF0109"}, "tin: .*G is never used in one; what is no such number goes under serial"),
        ({"injury": {"length": "12 psi"}}, "injury.length: 'psi' in '12 psi' is not a unit of length"),
        ({"injury": {"length": "-1 mm"}}, "injury.length: '-1 mm' must be above zero"),
        ({"injury": "big"}, "injury: wants a table"),
        ({"prep": {"skived": "yes"}}, "prep.skived: wants true or false"),
        ({"prep": {"cement_dry_time": "soon"}}, "prep.cement_dry_time: 'soon' is not a time"),
        ({"materials": [{"lot": "A", "expires": "soon"}]}, "materials.1.expires: wants a day such as 2031-05-04"),
        ({"materials": [{"product": "gum"}]}, "materials.1.use: is missing"),
        ({"materials": {"lot": "A"}}, "materials: wants a list of tables"),
        ({"mats": [1]}, "mats: wants a list of at most 50 names"),
        ({"mats": ["m"] * 51}, "mats: wants a list"),
        ({"people": {"skived": 3}}, "people.skived: wants text"),
        ({"checks": {"leak": 1}}, "checks.leak: wants true or false"),
        ({"mats_overlap": "yes"}, "mats_overlap: wants true or false"),
    ],
)
def test_what_is_wrong_is_named(data: dict[str, Any], says: str) -> None:
    with pytest.raises(ShopError, match=f"^ticket: {says}"):
        read_ticket(data, TODAY)


def test_a_file_names_its_line(tmp_path: Path) -> None:
    path = tmp_path / "t.toml"
    path.write_text('customer = "A"\n[injury]\nlenght = "3 mm"\n', "utf-8")
    with pytest.raises(ShopError, match=r"t\.toml:3: injury\.lenght: is not a known key; did you mean length\?"):
        load_ticket(path, TODAY)


plain = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=8,
)


@settings(max_examples=200)
@given(st.dictionaries(st.sampled_from(sorted(Ticket.__slots__)) | st.text(max_size=5), plain, max_size=6))
def test_any_json_is_a_ticket_or_refused_in_one_line(data: dict[str, Any]) -> None:
    try:
        ticket = read_ticket(data, TODAY)
    except ShopError as error:
        said = str(error)
    else:
        said = ""
        assert read_ticket(ticket.to_json(), TODAY) == ticket
    assert len(said.splitlines()) <= 1
