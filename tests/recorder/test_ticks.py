"""Samples onto the one-second grid."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.base import Fault, Sample
from press_monitor.recorder.ticks import TickAssembler
from tests.recorder.fakes import good


def values(slot):
    return tuple(None if s is None else s.value for s in slot.samples)


def fed(assembler, samples, until, start=0.05):
    """Deliver each sample when it is true, looking every 50 ms; return (slot, when given out)."""
    given_out, queue = [], sorted(samples, key=lambda s: s.at)
    for step in range(round(start * 20), int(until * 20) + 1):
        now = step / 20
        while queue and queue[0].at <= now:
            assembler.add([queue.pop(0)], now)
        given_out += [(slot, now) for slot in assembler.due(now)]
    return given_out


def test_a_slot_is_given_out_as_soon_as_every_live_channel_has_spoken():
    samples = [good(c, n, n + 0.3) for n in range(10) for c in ("inner_mat", "bag")]
    slots = fed(TickAssembler(["inner_mat", "bag"]), samples, 9.5)
    assert [slot.at for slot, _ in slots] == [float(n) for n in range(1, 11)]
    assert [values(slot) for slot, _ in slots] == [(n, n) for n in range(10)]
    assert all(when - (slot.at - 0.7) <= 0.11 for slot, when in slots), "a reading waited for the grid"


def test_a_slow_channel_keeps_its_value_for_two_and_a_half_of_its_own_intervals():
    samples = [good("inner_mat", n, n + 0.3) for n in range(100)]
    samples += [good("bag", n, n + 0.3) for n in range(0, 60, 10)]  # one in ten seconds, silent after 50.3
    slots = fed(TickAssembler(["inner_mat", "bag"]), samples, 99.0)
    bag = {slot.at: values(slot)[1] for slot, _ in slots}
    assert all(bag[float(t)] is not None for t in range(12, 76))
    assert all(bag[float(t)] is None for t in range(76, 99))


def test_a_quick_channel_is_stale_after_two_and_a_half_seconds_and_the_others_go_on():
    samples = [good("inner_mat", n, n + 0.3) for n in range(20)]
    samples += [good("bag", n, n + 0.3) for n in range(10)]
    slots = {slot.at: values(slot) for slot, _ in fed(TickAssembler(["inner_mat", "bag"]), samples, 19.0)}
    assert slots[11.0] == (10, 9)
    assert slots[12.0] == (11, None)
    assert slots[18.0] == (17, None)


def test_a_fault_is_no_value_until_a_good_sample_comes():
    assembler = TickAssembler(["inner_mat"])
    samples = [good("inner_mat", 100.0, 0.5), Sample("inner_mat", None, "degC", 1.5, Fault.OPEN)]
    samples.append(good("inner_mat", 101.0, 2.5))
    assert [values(slot) for slot, _ in fed(assembler, samples, 2.6)] == [(100.0,), (None,), (101.0,)]


def test_silence_gives_empty_slots_no_later_than_the_grace():
    slots = fed(TickAssembler(["inner_mat", "bag"], grace=0.3), [], 5.0)
    assert [slot.at for slot, _ in slots] == [1.0, 2.0, 3.0, 4.0]
    assert all(slot.empty for slot, _ in slots)
    assert all(0.299 < when - slot.at < 0.36 for slot, when in slots)


def test_history_delivered_at_once_fills_every_slot_in_order():
    assembler = TickAssembler(["inner_mat", "bag"])
    list(assembler.due(5000.2))
    assembler.add([good(c, float(t), float(t)) for t in range(200, 5000) for c in ("inner_mat", "bag")], 5000.4)
    slots = list(assembler.due(5000.4))
    assert [slot.at for slot in slots] == [float(t) for t in range(200, 5000)]
    assert all(values(slot) == (slot.at, slot.at) for slot in slots)


def test_history_delivered_in_pieces_fills_every_slot_as_well():
    assembler = TickAssembler(["inner_mat", "bag"])
    slots = []
    pieces = [
        [good(c, float(t), float(t)) for t in range(p, p + 50)]
        for p in range(0, 1000, 50)
        for c in ("inner_mat", "bag")
    ]
    for index, piece in enumerate(pieces):
        now = 1000.0 + 0.05 * index
        assembler.add(piece, now)
        slots += assembler.due(now)
    slots += assembler.due(1003.5)
    history = [slot for slot in slots if slot.at < 1000.0]
    assert [values(slot) for slot in history] == [(float(t), float(t)) for t in range(1000)]
    assert [values(slot) for slot in slots[len(history) :]] == [(999.0,) * 2] * 2 + [(None, None)] * 2


def test_a_new_grid_gives_out_nothing_before_its_start_even_from_an_instruments_memory():
    assembler = TickAssembler(["bag"])
    assembler.start_at(57.25)
    assembler.add([good("bag", float(t), float(t)) for t in range(100)], 99.5)
    slots = list(assembler.due(99.5))
    assert [slot.at for slot in slots] == [57.25 + n for n in range(43)]
    assert [values(slot)[0] for slot in slots] == [float(t) for t in range(57, 100)]


def test_samples_at_the_edge_of_two_slots_are_given_a_slot_each_once_the_grid_is_centred():
    dice = random.Random(3)
    edge = [good("bag", float(n), n + dice.uniform(-0.02, 0.02)) for n in range(2, 200)]
    assert len({values(slot) for slot, _ in fed(TickAssembler(["bag"]), edge, 199.5)}) < 195, "without centring"
    assembler = TickAssembler(["bag"])
    assembler.add(edge[:1], 2.05)
    list(assembler.due(2.05))
    assembler.centre()
    slots = fed(assembler, edge[1:], 199.5, start=2.1)
    assert [values(slot)[0] for slot, _ in slots] == [float(n) for n in range(3, 200)]
    assert [slot.at - slots[0][0].at for slot, _ in slots] == pytest.approx([float(n) for n in range(197)])


def test_two_seconds_a_slot():
    samples = [good("bag", n, n + 0.5) for n in range(20)]
    slots = fed(TickAssembler(["bag"], interval=2.0), samples, 19.0)
    assert [slot.at for slot, _ in slots] == [2.0 * n for n in range(1, 11)]


def test_other_channels_are_counted_and_left_out():
    assembler = TickAssembler(["bag"])
    assembler.add([good("tea", 1.0, 1.0), good("tea", 1.0, 2.0), good("bag", 3.0, 2.0)], 2.0)
    assert assembler.strangers == {"tea": 2}
    assert [values(slot) for slot in assembler.due(2.0)] == [(3.0,)]


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32), st.sampled_from([0.2, 1.0, 3.0]), st.booleans())
def test_whatever_comes_slots_are_even_in_order_and_never_hold_a_value_from_after_their_end(seed, pace, faults):
    dice = random.Random(seed)
    assembler = TickAssembler(["a", "b"])
    now, at, slots = 100.0, {"a": 90.0, "b": 95.0}, []
    for _ in range(200):
        now += dice.expovariate(1.0 / pace)
        batch = []
        for channel in ("a", "b", "c"):
            if dice.random() < 0.7:
                at[channel] = min(now, at.get(channel, now) + dice.expovariate(1.0 / pace))
                broken = faults and dice.random() < 0.2
                batch.append(
                    Sample(
                        channel,
                        None if broken else at[channel],
                        "degC",
                        at[channel],
                        Fault.OPEN if broken else None,
                    )
                )
        if not assembler.seen:
            slots.clear()  # the very first delivery may be a memory, and go back behind what was empty
        assembler.add(batch, now)
        slots += assembler.due(now)
    live = [slot for slot in slots if slot.at > 101.0]
    assert [slot.at for slot in live] == [live[0].at + n for n in range(len(live))]
    for slot in slots:
        for sample in slot.samples:
            assert sample is None or (sample.at <= slot.at and sample.fault is None)
