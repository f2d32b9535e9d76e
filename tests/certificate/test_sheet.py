"""The CSV form: a log for `replay`, harmless in a spreadsheet."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.log import parse_log
from press_monitor.archive.trace import Trace
from press_monitor.archive.types import ChannelMeta
from press_monitor.certificate.customer import customer_copy
from press_monitor.certificate.facts import shop_copy
from press_monitor.certificate.model import Certificate, Grid, Pair, Section, Words
from press_monitor.certificate.sheet import render_csv
from tests.certificate.samples import record, ugly

FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def cells(data: bytes) -> list[str]:
    """Every cell, however a spreadsheet may split the lines."""
    text = data.decode()
    return [
        cell.strip()
        for sign in ",;\t|"
        for row in csv.reader(io.StringIO(text, newline=""), delimiter=sign, skipinitialspace=True)
        for cell in row
    ]


def harmless(cell: str) -> bool:
    if not cell.startswith(FORMULA):
        return True
    # A reading below zero, alone or, split at another sign, with its row's other readings behind it.
    return all(part == "" or part.lstrip("-").replace(".", "", 1).isdigit() for part in cell.split(","))


def test_it_reads_back_as_the_log_it_was_digit_for_digit() -> None:
    kept, trace = record()
    log = parse_log(render_csv(shop_copy(kept, trace), trace), "certificate.csv")
    assert [c.heading for c in log.columns] == ["inner_mat[degF]", "outer_mat[degF]", "bag[psi]"]
    assert log.times == tuple(trace.times.tolist())
    assert log.rows[:3] == ((70.0, 70.0, 32.0), (70.2, 70.2, 32.0), (70.4, 70.4, 32.0))
    assert [
        [c.scaled(v) for c, v in zip(log.columns, row, strict=True) if v is not None] for row in log.rows[::500]
    ] == [list(values) for _, _, values in trace.rows()[::500]]
    assert log.comment("press-monitor certificate") == "7"
    assert log.comment("Tire and repair, Customer") == "Dry Fork Quarry"
    assert log.comment("banner") == "replayed from a log, not watched live"
    assert log.comment("Seal, Hash") == "22" * 32


def test_open_probes_and_empty_rows_stay_what_they_were() -> None:
    kept, trace = record(rows=100)
    present = trace.present.copy()
    present[10, 1] = False
    present[20, :] = False
    holed = replace(trace, present=present)
    log = parse_log(render_csv(shop_copy(kept, holed), holed), "x")
    assert log.rows[10] == (pytest.approx(72.0), None, 32.0)
    assert log.rows[20] == ()
    below = replace(trace, counts=np.where(trace.counts == 3200, -25, trace.counts))
    assert parse_log(render_csv(shop_copy(kept, below), below), "x").rows[0][2] == -0.25


def test_no_ugly_record_leaves_a_formula_behind() -> None:
    trace = record(rows=20)[1]
    for name, (kept, _) in ugly().items():
        for made in (shop_copy(kept, trace), customer_copy(kept, trace)):
            data = render_csv(made, trace)
            assert [cell for cell in cells(data) if not harmless(cell)] == [], name
            assert parse_log(data, name).columns


TYPED = st.text(max_size=60) | st.text(st.sampled_from("=+-@,;|\t\r\n\"'# \\0aA："), max_size=60)


@settings(deadline=None)
@given(TYPED, TYPED, TYPED)
def test_whatever_is_typed_stays_text(label: str, value: str, cell: str) -> None:
    trace = Trace.from_rows((ChannelMeta("bag", "psi", 1),), 0, [(0, 0, (-5,)), (1, 1, (320,))])
    page = Certificate(
        1, label, value, (cell,), (Section("x", label, (Pair(label, value), Words(cell), Grid((label,), ((value,),)))),)
    )
    data = render_csv(page, trace)
    assert [each for each in cells(data) if not harmless(each)] == []
    log = parse_log(data, "x")
    assert log.rows == ((-0.5,), (32.0,))
    assert len(log.comments) == 6
