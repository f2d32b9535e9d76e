"""Certificates as files: their names, their places, and what they never replace."""

from __future__ import annotations

import gc
import os
import tracemalloc
from pathlib import Path

import pytest

from press_monitor.archive import ArchiveReader
from press_monitor.archive.backup import backup
from press_monitor.certificate import export
from press_monitor.certificate.copies import read_copy
from press_monitor.certificate.export import (
    FORMS,
    ExportError,
    certificate_bytes,
    export_all,
    file_name,
    write_certificate,
)
from tests.archive.helpers import flip, tamper
from tests.benchmarks import certificates
from tests.certificate.conftest import Shop


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("which", ["shop", "customer", "label"])
def test_every_copy_in_every_form_twice_the_same(reader: ArchiveReader, form: str, which: str) -> None:
    first = certificate_bytes(read_copy(reader, 1), form, which)
    assert first == certificate_bytes(read_copy(reader, 1), form, which)
    assert first.startswith(export.BEGINNINGS[form])


def test_an_old_copy_is_made_again_byte_for_byte(shop: Shop, reader: ArchiveReader) -> None:
    for form in ("pdf", "html", "text", "csv", "proof"):
        now, then = certificate_bytes(read_copy(reader, 1), form), certificate_bytes(read_copy(reader, 1, 3), form)
        assert now != then
        assert then == certificate_bytes(read_copy(reader, 1, 1), form)  # what others sealed since changes nothing
        assert certificate_bytes(read_copy(reader, 1, 5), form) == now
    assert b"Wilma Oakes" in certificate_bytes(read_copy(reader, 1), "text")
    assert b"Wilma Oakes" not in certificate_bytes(read_copy(reader, 1, 3), "text")


def test_a_batch_goes_into_its_folder_under_names_of_numbers(reader: ArchiveReader, tmp_path: Path) -> None:
    folder = tmp_path / "out" / "more"
    done = list(export_all(reader, (3, 2, 1), folder, "html", "customer"))
    assert [each.place.name for each in done] == [f"certificate-00000{n}-customer.html" for n in (3, 2, 1)]
    assert all(each.trouble is None for each in done)
    assert sorted(path.name for path in folder.iterdir()) == sorted(each.place.name for each in done)
    assert {path.name for path in tmp_path.iterdir()} == {"out"}
    again = list(export_all(reader, (3,), folder, "html", "customer"))
    assert again[0].place.read_bytes() == done[0].place.read_bytes()


def test_names_are_safe_on_every_system() -> None:
    for form in FORMS:
        for which in ("shop", "customer", "label"):
            name = file_name(7, form, which)
            assert name.isascii() and name == name.lower() and not set(name) & set('/\\:*?"<>| ')
    assert file_name(7, "pdf") == "certificate-000007.pdf"
    assert file_name(12_345_678, "proof", "label") == "certificate-12345678-label.json"


def test_a_link_in_the_folder_leads_nowhere(reader: ArchiveReader, tmp_path: Path) -> None:
    outside = tmp_path / "precious.txt"
    outside.write_text("keep me")
    folder = tmp_path / "out"
    folder.mkdir()
    try:
        (folder / file_name(1, "text")).symlink_to(outside)
    except OSError:
        pytest.skip("this system lets nobody make links")
    with pytest.raises(ExportError, match="is no certificate"):
        list(export_all(reader, (1,), folder, "text"))
    outside.unlink()  # a link that dangles is replaced, not followed
    list(export_all(reader, (1,), folder, "text"))
    assert not outside.exists()
    assert (folder / file_name(1, "text")).read_bytes().startswith(b"====")


def test_nothing_but_a_certificate_is_ever_replaced(reader: ArchiveReader, tmp_path: Path) -> None:
    data = certificate_bytes(read_copy(reader, 1), "text")
    place = tmp_path / "one.txt"
    write_certificate(place, data, "text")
    write_certificate(place, data, "text")
    for other in ("repair.toml", "archive.sqlite"):
        (tmp_path / other).write_bytes(b"SQLite format 3\x00")
        with pytest.raises(ExportError, match=f"{other}: is there already"):
            write_certificate(tmp_path / other, data, "text")
        assert (tmp_path / other).read_bytes() == b"SQLite format 3\x00"
    with pytest.raises(ExportError, match="is not a file"):
        write_certificate(tmp_path, data, "text")
    with pytest.raises(ExportError, match="cannot be written"):
        write_certificate(tmp_path / "nowhere" / "one.txt", data, "text")
    (tmp_path / "empty.txt").touch()
    write_certificate(tmp_path / "empty.txt", data, "text")
    assert not [path for path in tmp_path.iterdir() if path.suffix == ".part"]


def test_a_full_disk_leaves_the_old_file_and_nothing_half_written(
    reader: ArchiveReader, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = certificate_bytes(read_copy(reader, 1), "text")
    place = tmp_path / "one.txt"
    write_certificate(place, data, "text")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(ExportError, match="No space left"):
        write_certificate(place, data + b"more", "text")
    assert place.read_bytes() == data
    assert [path.name for path in tmp_path.iterdir()] == ["one.txt"]


def test_a_broken_record_is_told_and_the_others_are_written(shop: Shop, tmp_path: Path) -> None:
    mine = tmp_path / "cures.sqlite"
    backup(shop.archive, mine)
    tamper(mine, lambda db: flip(db, "trace", "data", "entry", 2, 777))
    with ArchiveReader(mine) as reader:
        done = list(export_all(reader, (1, 2, 3), tmp_path / "out", "text"))
    assert [each.trouble is None for each in done] == [True, False, True]
    assert "not those that were sealed" in str(done[1].trouble)
    assert not done[1].place.exists()


def test_many_leave_nothing_behind_in_memory(reader: ArchiveReader, tmp_path: Path) -> None:
    """A small batch of what ``python -m tests.benchmarks certificates`` does a thousand times."""
    list(export_all(reader, (1,), tmp_path, "pdf"))
    tracemalloc.start()
    try:
        held = []
        for _ in range(3):
            list(export_all(reader, (1,), tmp_path, "pdf"))
            gc.collect()
            held.append(tracemalloc.get_traced_memory()[0])
    finally:
        tracemalloc.stop()
    assert held[2] - held[1] < 50_000, held


def test_the_benchmark_runs() -> None:
    figures = certificates.run(2, 1)
    assert {"goal", "met", "shop copy, median s", "kB each"} <= set(figures)
    assert 10 < float(figures["kB each"]) < 200
