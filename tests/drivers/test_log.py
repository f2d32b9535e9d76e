"""The log parser and writer."""

import hashlib
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.log import Column, Log, LogError, format_log, parse_log, read_log, write_log

HEADER = "elapsed_s,inner_mat[degF],outer_mat[degF],bag[psi]\n"


def parse(text: str | bytes) -> Log:
    return parse_log(text.encode() if isinstance(text, str) else text, "a.csv")


def refusal(text: str | bytes) -> LogError:
    with pytest.raises(LogError) as caught:
        parse(text)
    assert "\n" not in str(caught.value) and str(caught.value).startswith("a.csv")
    return caught.value


def test_a_plain_log_is_read_exactly() -> None:
    log = parse("# shop: Juniper Flat\n# seed: 4\n" + HEADER + "0,70.1,70,0.00\n1.5,71,,31.25\n3,,,\n")
    assert log.columns == (
        Column("inner_mat", "degF", 1),
        Column("outer_mat", "degF", 0),
        Column("bag", "psi", 2),
    )
    assert log.comments == (("shop", "Juniper Flat"), ("seed", "4"))
    assert log.comment("seed") == "4" and log.comment("tire") is None
    assert log.times == (0.0, 1.5, 3.0) and log.time_decimals == 1
    assert log.rows == ((70.1, 70.0, 0.0), (71.0, None, 31.25), ())
    assert log.header_line == 3
    assert log.columns[0].scaled(70.1) == 701 and log.columns[2].scaled(31.25) == 3125


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("ending", ["", "\n"])
def test_line_endings_byte_order_mark_and_a_missing_last_newline_change_nothing(
    newline: str, mark: bytes, ending: str
) -> None:
    text = newline.join(["# seed: 4", "elapsed_s,bag[psi]", "0,1.5", "1,2"]) + (newline if ending else "")
    log = parse(mark + text.encode())
    assert log.rows == ((1.5,), (2.0,)) and log.comments == (("seed", "4"),)


def test_the_digest_is_that_of_the_bytes_as_they_are() -> None:
    data = b"elapsed_s,bag[psi]\n0,1.5\n"
    assert parse(data).sha256 == hashlib.sha256(data).hexdigest()
    assert parse(b"\xef\xbb\xbf" + data).sha256 != parse(data).sha256


def test_rows_of_nothing_are_kept_and_blank_lines_are_not_rows() -> None:
    log = parse(HEADER + "0,1,2,3\n\n1,,,\n   \n2\n,,,\n3,\n4,1,2,3\n")
    assert log.times == (0.0, 1.0, 2.0, 3.0, 4.0)
    assert [len(row) for row in log.rows] == [3, 0, 0, 0, 3]


def test_comments_are_never_refused() -> None:
    log = parse(b"# no colon\n#x:1:2\n   # caf\xe9: \xff\n" + HEADER.encode() + b"0,1,2,3\n# late: yes\n1,1,2,3\n")
    assert log.comments == (("", "no colon"), ("x", "1:2"), ("caf�", "�"), ("late", "yes"))


def test_quoted_cells_are_read() -> None:
    assert parse('"elapsed_s","bag[psi]"\n"0","1.5"\n').rows == ((1.5,),)


def test_other_names_are_kept() -> None:
    log = parse("elapsed_s,cement dryness[min],oil[degC],inner_mat.2[degF],inner_mat_current[A]\n0,1,2,3,4\n")
    assert [c.name for c in log.columns] == ["cement dryness", "oil", "inner_mat.2", "inner_mat_current"]


@pytest.mark.parametrize(
    ("text", "line", "column", "words"),
    [
        ("", None, None, "is empty"),
        ("\n\n", None, None, "is empty"),
        ("# only: comments\n", None, None, "no header"),
        (HEADER, 1, None, "no row"),
        ("time,bag[psi]\n0,1\n", 1, "column 1", "elapsed_s"),
        ("elapsed_s\n0\n", 1, None, "no channel"),
        ("elapsed_s,bag\n0,1\n", 1, '"bag"', "name[unit]"),
        ("elapsed_s,\n0,1\n", 1, "column 2", "name[unit]"),
        ("elapsed_s,bag[]\n0,1\n", 1, '"bag[]"', "name[unit]"),
        ("elapsed_s,bag[furlong]\n0,1\n", 1, '"bag[furlong]"', "unknown unit"),
        ("elapsed_s,oil[%]\n0,1\n", 1, '"oil[%]"', "unknown unit"),
        ("elapsed_s,inner_mat[psi]\n0,1\n", 1, '"inner_mat[psi]"', "does not fit"),
        ("elapsed_s,bag.2[degC]\n0,1\n", 1, '"bag.2[degC]"', "does not fit"),
        ("elapsed_s,outer_mat_current[mV]\n0,1\n", 1, '"outer_mat_current[mV]"', "does not fit"),
        ("elapsed_s,bag[psi],bag[psi]\n0,1,1\n", 1, '"bag[psi]"', "twice"),
        ("elapsed_s,bag[psi], bag [kPa]\n0,1,1\n", 1, '"bag [kPa]"', "twice"),
        (HEADER + "0,1,2\n", 2, None, "has 3 cells, the header has 4"),
        (HEADER + "0,1,2,3,4\n", 2, None, "has 5 cells"),
        (HEADER + "0,,,,\n", 2, None, "has 5 cells"),
        (HEADER + ",1,2,3\n", 2, "elapsed_s", "is empty"),
        (HEADER + "0,1,2,3\n0,1,2,3\n", 3, "elapsed_s", "does not rise"),
        (HEADER + "5,1,2,3\n4,,,\n", 3, "elapsed_s", "does not rise"),
        (HEADER + "0.0000001,1,2,3\n0.0000002,1,2,3\n", 3, "elapsed_s", "does not rise"),
        (HEADER + "0,nan,2,3\n", 2, "inner_mat[degF]", '"nan" is not a plain number'),
        (HEADER + "0,1,inf,3\n", 2, "outer_mat[degF]", '"inf" is not a plain number'),
        (HEADER + "nan,1,2,3\n", 2, "elapsed_s", "not a plain number"),
        (HEADER + "0,1,2,OPEN\n", 2, "bag[psi]", '"OPEN"'),
        (HEADER + "0,1,2,1_000\n", 2, "bag[psi]", '"1_000"'),
        (HEADER + "0,1,2,0x10\n", 2, "bag[psi]", '"0x10"'),
        (HEADER + "0,1,2,١\n", 2, "bag[psi]", "not a plain number"),
        (HEADER + "0,1,2,1e999\n", 2, "bag[psi]", "beyond any instrument"),
        (HEADER + '0,1,2,"3\n', 2, None, "quotes"),
        (HEADER + "0,1,2,3\rx\n", 2, None, "control characters"),
        (b"\xff\xfeelapsed_s", 1, None, "not UTF-8"),
        (b"\x00\x01\x02\x03", 1, None, "control characters"),
        (HEADER.encode() + b"0,1,2,3\n1,1,\xff2,3\n", 3, None, "not UTF-8 text (byte 5)"),
    ],
)
def test_what_cannot_be_a_log_is_refused_with_its_place(
    text: str | bytes, line: int | None, column: str | None, words: str
) -> None:
    error = refusal(text)
    assert (error.line, error.column) == (line, column)
    assert words in error.message and (line is None or f", line {line}" in str(error))


def test_a_file_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    for path in (tmp_path / "missing.csv", tmp_path):
        with pytest.raises(LogError) as caught:
            read_log(path)
        assert str(path) in str(caught.value) and caught.value.line is None
    with pytest.raises(LogError, match="cannot be read"):
        read_log("a\0b")


@given(st.binary(max_size=300))
def test_any_bytes_give_a_log_or_a_log_error(data: bytes) -> None:
    log, said = None, ""
    try:
        log = parse_log(data, "x")
    except LogError as error:
        said = str(error)
    assert "\n" not in said and (log is None) == bool(said)
    if log is not None:
        check_invariants(log)


CELLS = st.one_of(
    st.sampled_from(
        ["", "1", "2.5", "-3", "nan", "inf", "1e3", "+.5", "9.", "1e-9", "\ufeff", "٣", "1,2", '"', "#", "0x1"]
    ),
    st.text(max_size=6),
)


@given(st.lists(st.lists(CELLS, max_size=5), max_size=8), st.sampled_from([HEADER, "elapsed_s,bag[kPa]\r\n"]))
def test_almost_logs_never_invent_a_reading(rows: list[list[str]], header: str) -> None:
    text = header + "\n".join(",".join(row) for row in rows)
    try:
        log = parse(text.encode("utf-8", errors="surrogatepass"))
    except LogError:
        return
    check_invariants(log)
    # Every reading stands in the file as a cell of its own, in order.
    written = [
        cell.strip() for row in text.split("\n")[1:] if not row.strip(" \t").startswith("#") for cell in row.split(",")
    ]
    readings = [value for row in log.rows for value in row if value is not None]
    numbers = iter([number for cell in written if (number := as_number(cell)) is not None])
    assert all(any(abs(value - number) <= 5e-7 for number in numbers) for value in readings)


def as_number(cell: str) -> float | None:
    try:
        return float(cell.strip('"'))
    except ValueError:
        return None


def check_invariants(log: Log) -> None:
    assert log.times and len(log.times) == len(log.rows)
    assert all(a < b for a, b in zip(log.times, log.times[1:], strict=False))
    for time in log.times:
        assert round(time * 10**log.time_decimals) / 10**log.time_decimals == time
    for row in log.rows:
        assert len(row) in (0, len(log.columns))
        for column, value in zip(log.columns, row, strict=False):
            if value is not None:
                assert math.isfinite(value) and 0 <= column.decimals <= 6
                assert column.scaled(value) / 10**column.decimals == value


DECIMALS = st.integers(0, 6)


@st.composite
def logs(draw: st.DrawFn) -> tuple[list[Column], int, list[float], list[tuple[float | None, ...]]]:
    names = draw(
        st.lists(st.sampled_from(["inner_mat", "outer_mat", "air", "oil"]), min_size=2, max_size=4, unique=True)
    )
    columns = [Column(name, draw(st.sampled_from(["degC", "degF"])), draw(DECIMALS)) for name in names]
    places = draw(DECIMALS)
    ticks = sorted(draw(st.sets(st.integers(-1000, 10**8), min_size=1, max_size=12)))
    rows: list[tuple[float | None, ...]] = []
    for _ in ticks:
        cells = [
            draw(st.none() | st.integers(-(10**9), 10**9).map(lambda n, d=column.decimals: n / 10**d))
            for column in columns
        ]
        rows.append(() if all(cell is None for cell in cells) else tuple(cells))
    return columns, places, [n / 10**places for n in ticks], rows


@given(logs())
def test_what_was_written_is_read_back_to_the_bit(
    made: tuple[list[Column], int, list[float], list[tuple[float | None, ...]]],
) -> None:
    columns, places, times, rows = made
    data = format_log(columns, times, rows, time_decimals=places, comments=[("seed", "7"), ("", "free words")])
    log = parse(data)
    assert (list(log.times), list(log.rows)) == (times, rows)
    assert log.time_decimals == places
    assert log.comments == (("seed", "7"), ("", "free words"))
    for index, column in enumerate(columns):
        written = any(row and row[index] is not None for row in rows)
        assert log.columns[index] == (column if written else Column(column.name, column.unit, 0))


def test_a_written_file_is_the_same_log(tmp_path: Path) -> None:
    log = parse("# seed: 4\n" + HEADER + "0,70.1,70.0,0.00\n1,71.0,,31.25\n2,,,\n")
    write_log(tmp_path / "b.csv", log)
    again = read_log(tmp_path / "b.csv")
    assert (again.columns, again.times, again.rows, again.comments) == (log.columns, log.times, log.rows, log.comments)


@pytest.mark.parametrize(
    ("columns", "times", "rows", "comments"),
    [
        ([Column("bag", "psi", 1)], [0.0, 0.0], [(1.0,), (1.0,)], []),
        ([Column("bag", "psi", 1)], [0.0], [(math.nan,)], []),
        ([Column("bag", "psi", 1)], [0.0], [(1.0, 2.0)], []),
        ([Column("bag", "psi", 1)], [0.0], [(None,)], []),
        ([Column("bag", "stone", 1)], [0.0], [(1.0,)], []),
        ([Column("bag", "psi", 1)], [], [], []),
        ([Column("bag", "psi", 1)], [0.0], [(1.0,)], [("seed", "1\n0,5")]),
    ],
)
def test_what_no_log_can_say_is_not_written(
    columns: list[Column],
    times: list[float],
    rows: list[tuple[float | None, ...]],
    comments: list[tuple[str, str]],
) -> None:
    with pytest.raises(ValueError):
        format_log(columns, times, rows, comments=comments)
