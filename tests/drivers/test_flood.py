"""Arbitrary bytes into every parser, as many as an everyday run can afford; `tests.drivers.flood` takes a million."""

from __future__ import annotations

import pytest

from tests.drivers.flood import PARSERS, Parser, flood, main


@pytest.mark.parametrize("parser", PARSERS, ids=lambda parser: parser.name)
def test_no_bytes_make_a_parser_raise_or_invent_a_reading(parser: Parser) -> None:
    assert flood(parser, 1_000, seed=1) > 20, "good strings must be among them, or nothing was tried"


def test_a_reading_that_is_not_in_the_string_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    from drivers.line_reader import LineReader

    told = LineReader._sample

    def invented(self: LineReader, target, cell, at):  # type: ignore[no-untyped-def]
        sample = told(self, target, cell, at)
        return sample if sample.value is None else type(sample)(sample.channel, 17.25, sample.unit, at)

    monkeypatch.setattr(LineReader, "_sample", invented)
    with pytest.raises(AssertionError, match="labelled, seed 1, string"):
        flood(PARSERS[0], 2_500, seed=1)


def test_the_command_floods_one_parser(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["registers", "--count", "200"]) == 0
    assert capsys.readouterr().out.startswith("registers: 200 strings, ")
