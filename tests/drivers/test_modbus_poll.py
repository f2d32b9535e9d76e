"""What is asked when: gathering registers, the beat, and rest for units that do not answer."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.base import Fault, Sample
from drivers.modbus_map import Function, Register
from drivers.modbus_poll import LONGEST_REST_S, MOST_REGISTERS, Block, Poller, plan
from drivers.modbus_words import TYPES, Coding


def register(
    address: int, *, unit_id: int = 1, kind: str = "int16", function: Function = Function.INPUT, name: str = ""
) -> Register:
    return Register(name or f"u{unit_id}r{address}", "degC", unit_id, function, address, Coding(kind))


def shape(blocks: tuple[Block, ...]) -> list[tuple[int, str, int, int]]:
    return [(b.unit_id, b.function.word, b.address, b.count) for b in blocks]


# -- gathering --


def test_neighbours_are_read_together_and_small_gaps_along() -> None:
    registers = [register(0), register(1, kind="float32"), register(11), register(20)]
    assert shape(plan(registers, gap=8)) == [(1, "input", 0, 21)]
    assert shape(plan(registers, gap=7)) == [(1, "input", 0, 3), (1, "input", 11, 1), (1, "input", 20, 1)]
    assert shape(plan(registers, gap=0)) == [(1, "input", 0, 3), (1, "input", 11, 1), (1, "input", 20, 1)]


def test_units_and_tables_are_asked_apart() -> None:
    registers = [register(0), register(1, unit_id=2), register(1, function=Function.HOLDING), register(1)]
    assert shape(plan(registers, gap=8)) == [(1, "holding", 1, 1), (1, "input", 0, 2), (2, "input", 1, 1)]


def test_no_request_is_longer_than_allowed() -> None:
    registers = [register(n) for n in range(130)]
    assert shape(plan(registers, gap=0)) == [(1, "input", 0, 125), (1, "input", 125, 5)]
    assert [b.count for b in plan(registers, gap=0, most=50)] == [50, 50, 30]
    # A value of two registers is never cut in two.
    pairs = [register(2 * n, kind="float32") for n in range(64)]
    assert shape(plan(pairs, gap=0)) == [(1, "input", 0, 124), (1, "input", 124, 4)]


@st.composite
def register_sets(draw: st.DrawFn) -> list[Register]:
    made: list[Register] = []
    for unit_id in draw(st.sets(st.integers(1, 5), min_size=1, max_size=3)):
        for function in draw(st.sets(st.sampled_from(list(Function)), min_size=1)):
            address = draw(st.integers(0, 100))
            for _ in range(draw(st.integers(1, 7))):
                kind = draw(st.sampled_from(sorted(TYPES)))
                made.append(register(address, unit_id=unit_id, kind=kind, function=function, name=f"c{len(made)}"))
                address = made[-1].end + draw(st.integers(0, 40))
    return draw(st.permutations(made))


@settings(max_examples=50)
@given(registers=register_sets(), gap=st.integers(0, 20), most=st.integers(2, MOST_REGISTERS))
def test_a_plan_reads_every_register_once_and_keeps_every_bound(registers: list[Register], gap: int, most: int) -> None:
    blocks = plan(registers, gap=gap, most=most)
    assert Counter(r.channel for b in blocks for r in b.registers) == Counter(r.channel for r in registers)
    for block in blocks:
        assert 1 <= block.count <= most
        last = block.address
        for r in block.registers:
            assert (r.unit_id, r.function) == (block.unit_id, block.function)
            assert 0 <= r.address - last <= gap
            last = r.end
        assert last == block.address + block.count


@settings(max_examples=30)
@given(registers=register_sets(), data=st.data())
def test_any_contents_become_one_sample_a_channel(registers: list[Register], data: st.DataObject) -> None:
    for block in plan(registers, gap=8):
        words = data.draw(st.lists(st.integers(0, 0xFFFF), min_size=block.count, max_size=block.count))
        samples = block.samples(words, 5.0)
        assert [s.channel for s in samples] == [r.channel for r in block.registers]
        for sample in samples:
            assert sample.at == 5.0 and sample.unit == "degC"
            assert (sample.value is None) == (sample.fault is not None)
            assert sample.value is None or sample.value == sample.value


def test_each_channel_gets_its_own_registers() -> None:
    (block,) = plan([register(10), register(12, kind="uint32"), register(16)], gap=8)
    samples = block.samples([5, 99, 1, 2, 99, 99, 7], 0.0)
    assert [(s.channel, s.value) for s in samples] == [("u1r10", 5), ("u1r12", 65_538), ("u1r16", 7)]


# -- the beat --


def poller(*registers: Register, period: float = 1.0, gap: int = 8) -> Poller:
    made = Poller(plan(registers, gap=gap), period)
    made.start(0.0)
    return made


def answer(polled: Poller, now: float, took: float = 0.01) -> list[Sample]:
    """Answer whatever is due, one after the other."""
    samples: list[Sample] = []
    while (block := polled.due(now)) is not None:
        now += took
        samples += polled.answered(block, [0] * block.count, now, now)
    return samples


def test_every_block_is_asked_once_a_period() -> None:
    polled = poller(register(0), register(0, unit_id=2))
    assert [s.channel for s in answer(polled, 0.0)] == ["u1r0", "u2r0"]
    assert polled.due(0.99) is None and polled.next_due() == 1.0
    assert [s.channel for s in answer(polled, 1.0)] == ["u1r0", "u2r0"]
    assert polled.next_due() == 2.0


def test_missed_beats_are_not_made_up_for() -> None:
    polled = poller(register(0))
    answer(polled, 5.4)
    assert polled.next_due() == 6.0
    assert polled.due(5.9) is None


def test_a_line_that_cannot_keep_up_slows_every_channel_alike() -> None:
    polled = poller(*(register(0, unit_id=n) for n in range(1, 6)))
    asked: Counter[int] = Counter()
    now = 0.0
    while now < 100.0:
        block = polled.due(now)
        if block is None:
            now = polled.next_due()
            continue
        now += 0.7
        asked[block.unit_id] += 1
        polled.answered(block, [0], now, now)
    assert max(asked.values()) <= 1.1 * min(asked.values())
    assert sum(asked.values()) >= 140


def test_a_silent_unit_is_left_alone_ever_longer_up_to_ten_seconds() -> None:
    polled = poller(register(0))
    asked, told, now = [], [], 0.0
    while now < 45.0:
        told += [s.fault for s in polled.resting(now, now)]
        block = polled.due(now)
        if block is not None:
            asked.append(now)
            told += [s.fault for s in polled.failed(block, Fault.NO_ANSWER, now + 0.3, now + 0.3)]
        now = polled.next_due()
    assert asked == [0.0, 2.0, 5.0, 10.0, 19.0, 30.0, 41.0]
    assert max(b - a for a, b in pairwise(asked)) <= LONGEST_REST_S + 1.0
    # Said at every beat all the same, so that the channel is not merely old.
    assert told == [Fault.NO_ANSWER] * 45


def test_one_silent_unit_costs_the_others_no_more_than_its_time_out() -> None:
    polled = poller(*(register(0, unit_id=n) for n in (1, 2, 3)))
    now, lost, last = 0.0, 0.0, {1: 0.0, 3: 0.0}
    while now < 60.0:
        polled.resting(now, now)
        block = polled.due(now)
        if block is None:
            now = polled.next_due()
        elif block.unit_id == 2:
            now, lost = now + 0.3, lost + 0.3
            polled.failed(block, Fault.NO_ANSWER, now, now)
        else:
            now += 0.01
            polled.answered(block, [0], now, now)
            assert now - last[block.unit_id] <= 1.0 + 0.3 + 0.03
            last[block.unit_id] = now
    assert lost <= 0.3 * 9


def test_one_answer_ends_the_rest_and_all_of_the_unit_is_read_at_once() -> None:
    polled = poller(register(0), register(100))
    now = 0.0
    for _ in range(20):
        block = polled.due(now)
        assert block is None or block.unit_id == 1
        if block is not None:
            polled.failed(block, Fault.NO_ANSWER, now, now)
        polled.resting(now, now)
        now += 1.0
    assert polled.trouble() and "unit 1 does not answer" in polled.trouble()[0]
    while (block := polled.due(now)) is None:
        polled.resting(now, now)
        now += 1.0
    polled.answered(block, [0], now, now)
    other = polled.due(now)
    assert other is not None and other.address != block.address
    assert polled.trouble() == ()


def test_a_silent_unit_s_other_blocks_are_not_asked_and_say_so() -> None:
    polled = poller(register(0), register(100))
    block = polled.due(0.0)
    assert block is not None
    assert [s.channel for s in polled.failed(block, Fault.NO_ANSWER, 0.3, 0.3)] == ["u1r0"]
    assert polled.due(0.3) is None
    assert polled.resting(0.3, 0.3) == [Sample("u1r100", None, "degC", 0.3, Fault.NO_ANSWER)]
    assert polled.resting(0.3, 0.3) == []


def test_a_garbled_unit_is_told_from_a_silent_one() -> None:
    polled = poller(register(0))
    block = polled.due(0.0)
    assert block is not None
    assert [s.fault for s in polled.failed(block, Fault.GARBLED, 0.3, 0.3)] == [Fault.GARBLED]
    assert [s.fault for s in polled.resting(1.0, 1.0)] == [Fault.GARBLED]
    assert "garbled" in polled.trouble()[0] and "baud" in polled.trouble()[0]


def test_beginning_anew_forgets_who_was_silent() -> None:
    polled = poller(register(0))
    block = polled.due(0.0)
    assert block is not None
    polled.failed(block, Fault.NO_ANSWER, 0.3, 0.3)
    polled.start(0.4)
    assert polled.due(0.4) is block and polled.trouble() == ()


# -- exception replies --


def test_a_refusal_is_no_answer_without_rest_and_in_words() -> None:
    polled = poller(register(7, name="bag"))
    block = polled.due(0.0)
    assert block is not None
    assert polled.refused(block, 6, 0.01, 0.01) == [Sample("bag", None, "degC", 0.01, Fault.NO_ANSWER)]
    assert polled.trouble() == ("unit 1 refuses input register 7 (bag): it is busy (exception 6)",)
    assert polled.due(1.0) is block
    polled.answered(block, [0], 1.01, 1.01)
    assert polled.trouble() == ()


@pytest.mark.parametrize("code", [10, 11])
def test_a_gateway_s_refusal_is_the_unit_s_silence(code: int) -> None:
    polled = poller(register(7))
    block = polled.due(0.0)
    assert block is not None
    assert [s.fault for s in polled.refused(block, code, 0.01, 0.01)] == [Fault.NO_ANSWER]
    assert polled.due(1.0) is None
    assert "does not answer" in polled.trouble()[0]


def test_a_wrong_address_costs_its_own_channel_only() -> None:
    polled = poller(*(register(n, name=f"c{n}") for n in range(8)))
    now, requests = 0.0, 0
    seen: dict[str, Sample] = {}
    while (block := polled.due(now)) is not None:
        requests += 1
        now += 0.01
        if block.address <= 5 < block.address + block.count:
            samples = polled.refused(block, 2, now, now)
        else:
            samples = polled.answered(block, [40] * block.count, now, now)
        seen |= {s.channel: s for s in samples}
    assert set(seen) == {f"c{n}" for n in range(8)}
    assert [name for name, s in seen.items() if s.value is None] == ["c5"]
    assert requests == 7
    (words,) = polled.trouble()
    assert words == "unit 1 refuses input register 5 (c5): it has no such register (exception 2)"
    # From now on four requests a beat, those of the good halves whole.
    assert len(answer(polled, 1.0)) == 8
    assert polled.trouble() == ()


def test_a_code_nobody_knows_is_named_by_its_number() -> None:
    polled = poller(register(0))
    block = polled.due(0.0)
    assert block is not None
    polled.refused(block, 200, 0.0, 0.0)
    assert "exception 200" in polled.trouble()[0]


steps = st.lists(
    st.tuples(st.sampled_from(["answer", "silence", "garble", "refuse"]), st.integers(0, 12), st.floats(0.0, 3.0)),
    max_size=40,
)


@settings(max_examples=30)
@given(registers=register_sets(), done=steps, period=st.floats(0.2, 60.0))
def test_whatever_happens_each_channel_is_told_of_and_nothing_spins(
    registers: list[Register], done: list[tuple[str, int, float]], period: float
) -> None:
    polled = Poller(plan(registers, gap=8), period)
    now = 1000.0
    polled.start(now)
    for what, code, took in done:
        told = polled.resting(now, now)
        assert polled.resting(now, now) == []
        block = polled.due(now)
        if block is None:
            assert polled.next_due() > now
            now = polled.next_due()
            continue
        now += took
        if what == "answer":
            told += polled.answered(block, [1] * block.count, now, now)
            assert polled.due(now) is not block
        elif what == "refuse":
            told += polled.refused(block, code, now, now)
        else:
            told += polled.failed(block, Fault.NO_ANSWER if what == "silence" else Fault.GARBLED, now, now)
            other = polled.due(now)
            assert other is None or other.unit_id != block.unit_id
        assert all((s.value is None) == (s.fault is not None) for s in told)
        polled.trouble()
    # From here everything answers: within the longest rest and a beat every channel has a value again.
    end = now + LONGEST_REST_S + 2.0 * period
    seen: set[str] = set()
    while now <= end:
        polled.resting(now, now)
        while (block := polled.due(now)) is not None:
            seen |= {s.channel for s in polled.answered(block, [1] * block.count, now, now)}
        now = polled.next_due()
    assert seen == {r.channel for r in registers}
