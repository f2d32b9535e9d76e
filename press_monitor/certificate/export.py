"""Certificates as files: which form, under which name, and never over anything that is not a certificate.

A file is written whole beside its place and then given its name, so that nobody finds half of one. Names of a batch are
made of the number alone, so that nothing typed into a ticket decides where a file goes.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from press_monitor.archive.reader import ArchiveReader
from press_monitor.archive.types import ArchiveError
from press_monitor.certificate.copies import Copy, made_of, read_copy
from press_monitor.certificate.proof import PROOF_FORMAT, proof_of

__all__ = [
    "FORMS",
    "ExportError",
    "Exported",
    "certificate_bytes",
    "export_all",
    "file_name",
    "show_file",
    "write_certificate",
]

FORMS: Final = ("pdf", "html", "text", "csv", "proof")
ENDINGS: Final = {"pdf": ".pdf", "html": ".html", "text": ".txt", "csv": ".csv", "proof": ".json"}
BEGINNINGS: Final = {
    "pdf": b"%PDF-",
    "html": b"<!doctype html>",
    "text": b"=" * 80,
    "csv": b"# press-monitor certificate",
    "proof": b'{\n "format": "' + PROOF_FORMAT.encode(),
}


STARTS_WITHIN_S: Final = 5.0
"""A program that has not failed by then is the viewer itself."""
_viewers: list[subprocess.Popen[bytes]] = []


class ExportError(ArchiveError):
    """A file that cannot be written; the message names it."""


def certificate_bytes(copy: Copy, form: str, which: str = "shop", paper: str | None = None) -> bytes:
    """One copy in one form. `paper` is ``letter`` or ``a4``, by default that of the record's units.

    Raises `ExportError` for a form that this record or copy does not have.
    """
    if form == "proof":
        return proof_of(copy.record, copy.before, copy.public_key)
    content = made_of(copy, which)
    paper = paper or ("letter" if content.letter else "a4")
    match form:
        case "pdf":
            from press_monitor.certificate.pdf import render_pdf

            return render_pdf(content, paper)
        case "html":
            from press_monitor.certificate.html import render_html

            return render_html(content, paper).encode()
        case "csv":
            from press_monitor.certificate.sheet import render_csv

            if copy.trace is None:
                raise ExportError(f"certificate {copy.record.number} has no readings to write as CSV")
            try:
                return render_csv(content, copy.trace)
            except ValueError as error:
                raise ExportError(f"certificate {copy.record.number} cannot be written as CSV: {error}") from None
    from press_monitor.certificate.text import render

    return render(content).encode()


def file_name(number: int, form: str, which: str = "shop") -> str:
    """``certificate-000007-customer.pdf``."""
    return f"certificate-{number:06d}{'' if which == 'shop' else f'-{which}'}{ENDINGS[form]}"


def write_certificate(path: Path, data: bytes, form: str) -> None:
    """Write a file whole, or leave everything as it was.

    Raises `ExportError` where `path` cannot be written, or holds something else than a certificate in this form.
    """
    try:
        if path.exists() and not path.is_file():
            raise ExportError(f"{path}: is not a file")
        if path.is_file():
            with path.open("rb") as file:
                begins = file.read(len(BEGINNINGS[form]))
            if begins and begins != BEGINNINGS[form]:
                raise ExportError(f"{path}: is there already and is no certificate in this form; not replaced")
        # A fresh name beside it, opened exclusively: a link planted there leads nowhere.
        beside = path.with_name(f".{path.name}.{os.getpid()}.part")
        handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o644)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
            os.replace(beside, path)
        except BaseException:
            beside.unlink(missing_ok=True)
            raise
    except OSError as error:
        raise ExportError(f"{path}: cannot be written: {error.strerror or error}") from None


def show_file(path: Path) -> bool:
    """Hand a file to the desktop's own viewer; False where there is none to hand it to.

    The viewer is given no terminal: a dashboard may be drawn on it.
    """
    if sys.platform == "win32":
        try:
            os.startfile(path)
        except OSError:
            return False
        return True
    program = shutil.which("open" if sys.platform == "darwin" else "xdg-open")
    if program is None:
        return False
    nowhere = subprocess.DEVNULL
    try:
        started = subprocess.Popen(
            [program, str(path.absolute())], stdin=nowhere, stdout=nowhere, stderr=nowhere, start_new_session=True
        )
    except OSError:
        return False
    try:
        return started.wait(STARTS_WITHIN_S) == 0
    except subprocess.TimeoutExpired:
        _viewers.append(started)
        return True


@dataclass(frozen=True, slots=True)
class Exported:
    """One certificate of a batch: its file, or in `trouble` why there is none."""

    number: int
    place: Path
    trouble: str | None


def export_all(
    reader: ArchiveReader,
    numbers: Iterable[int],
    folder: Path,
    form: str,
    which: str = "shop",
    paper: str | None = None,
) -> Iterator[Exported]:
    """Write certificates into `folder` (made if missing), telling of each as soon as it is there.

    One at a time is held in memory. A record that nothing can be made of is told and passed over. Raises
    `ExportError` where the folder or a file in it cannot be written; what was written before stays.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ExportError(f"{folder}: cannot be made: {error.strerror or error}") from None
    for number in numbers:
        place = folder / file_name(number, form, which)
        try:
            data = certificate_bytes(read_copy(reader, number), form, which, paper)
        except ArchiveError as error:
            yield Exported(number, place, str(error))
            continue
        write_certificate(place, data, form)
        yield Exported(number, place, None)
