"""Certificates: one on the screen or as files, many into a folder, and checking archive or paper."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from press_monitor.console import PATH, PROBLEM, archive_option, as_json, place, put, put_json, say

if TYPE_CHECKING:
    from press_monitor.archive.reader import ArchiveReader
    from press_monitor.archive.types import CertificateRow

__all__ = ["certificate", "export_found", "export_options", "verify"]

COPIES = ("shop", "customer", "label")
FORMS = ("pdf", "html", "text", "csv", "proof")
Decorated = TypeVar("Decorated", bound=Callable[..., Any])

which_option = click.option(
    "--copy", "which", type=click.Choice(COPIES), default="shop", show_default=True, help="Whose copy."
)
paper_option = click.option(
    "--paper", type=click.Choice(["letter", "a4"]), help="[default: letter for a shop in US units, else a4]"
)


def _file(form: str, words: str) -> Callable[[Decorated], Decorated]:
    return click.option(f"--{form}", f"{form}_file", type=PATH, metavar="FILE", help=words)


@click.command()
@click.argument("number", type=int)
@archive_option
@click.option("--as-of", type=click.IntRange(0), metavar="SEQ", help="As it read at ledger entry SEQ.")
@which_option
@click.option("--customer", "for_customer", is_flag=True, help="The customer's copy: one page, no technicians' names.")
@click.option("--label", "as_label", is_flag=True, help="The label for the job.")
@paper_option
@_file("pdf", "Write it as PDF.")
@_file("html", "Write it as one web page.")
@_file("text", "Write it as text.")
@_file("csv", "Write its readings and facts as a log that replay reads.")
@_file("proof", "Write the sealed record with its signature, for verify --file.")
@click.option("--open", "show", is_flag=True, help="Show the file with the desktop's own viewer.")
@as_json
@click.pass_context
def certificate(
    ctx: click.Context,
    /,
    number: int,
    archive: Path | None,
    as_of: int | None,
    which: str,
    for_customer: bool,
    as_label: bool,
    paper: str | None,
    show: bool,
    as_json: bool,
    **files: Path | None,
) -> None:
    """Certificate NUMBER as text, as files, or its sealed bytes with --json.

    Nothing is made of a record whose seal does not hold.
    """
    from press_monitor.archive.reader import ArchiveReader

    if for_customer and as_label:
        raise click.UsageError("either --customer or --label")
    which = "customer" if for_customer else "label" if as_label else which
    wanted = [(form, at) for form in FORMS if (at := files[f"{form}_file"]) is not None]
    with ArchiveReader(place(ctx, "archive", archive)) as reader:
        if as_json:
            put(reader.record(number, as_of=as_of).sealed.body)
            if not wanted and not show:
                return
        from press_monitor.certificate.copies import read_copy

        copy = read_copy(reader, number, as_of)
    from press_monitor.certificate.export import certificate_bytes, file_name, write_certificate

    if show and not any(form in ("pdf", "html", "text") for form, _ in wanted):
        import tempfile

        wanted.append(("pdf", Path(tempfile.mkdtemp(prefix="press-monitor-")) / file_name(number, "pdf", which)))
    # Everything is made before anything is written.
    made = [(form, at, certificate_bytes(copy, form, which, paper)) for form, at in wanted]
    for form, at, data in made:
        write_certificate(at, data, form)
        (say if as_json else put)(str(at))
    if show:
        _open(ctx, next(at for form, at, _ in made if form in ("pdf", "html", "text")))
    elif not made:
        put(certificate_bytes(copy, "text", which))


def _open(ctx: click.Context, path: Path) -> None:
    from press_monitor.certificate.export import show_file

    if not show_file(path):
        say(f"press-monitor: no viewer could be started; the file is {path}")
        ctx.exit(PROBLEM)


def export_options(command: Decorated) -> Decorated:
    """The options that write what was found into a folder."""
    for option in (
        paper_option,
        which_option,
        click.option("--form", type=click.Choice(FORMS), default="pdf", show_default=True, help="With --export."),
        click.option("--export", "folder", type=PATH, metavar="FOLDER", help="Write a certificate for each of them."),
    ):
        command = option(command)
    return command


def export_found(
    reader: ArchiveReader, found: Sequence[CertificateRow], folder: Path, form: str, which: str, paper: str | None
) -> tuple[list[Path], int]:
    """Write a certificate for each record found, telling each that cannot be made.

    Returns the files and how many could not be made.
    """
    from press_monitor.certificate.export import export_all

    places, failed = [], 0
    for done in export_all(reader, (row.number for row in found), folder, form, which, paper):
        if done.trouble is not None:
            failed += 1
            say(f"press-monitor: certificate {done.number}: {done.trouble}")
        else:
            places.append(done.place)
    return places, failed


@click.command()
@archive_option
@click.option("--key", type=PATH, metavar="FILE", help="The public key that must have signed it all.")
@click.option(
    "--file",
    "files",
    type=PATH,
    multiple=True,
    metavar="FILE",
    help="Check one certificate's proof, or the text of its QR code (- reads it from a scanner), and no archive.",
)
@click.option(
    "--handed-out",
    "out",
    type=PATH,
    multiple=True,
    metavar="FILE",
    help="The archive must still hold the certificate of this proof, or of this QR code's text.",
)
@as_json
@click.pass_context
def verify(
    ctx: click.Context,
    archive: Path | None,
    key: Path | None,
    files: tuple[Path, ...],
    out: tuple[Path, ...],
    as_json: bool,
) -> None:
    """Does the archive still say what was sealed? Exit 1 for any mismatch.

    With --file no archive is needed: a proof (certificate N --proof FILE) shows the whole record, a code's text that
    the shop signed its hash. A record's sealed bytes (certificate N --json) are checked together with its code's text:
    give both. Whoever cuts the ledger short or puts an old file back leaves one that holds in itself: a certificate
    that left the shop before, given with --handed-out, finds it.
    """
    if files and (archive is not None or out):
        raise click.UsageError("either --archive or --file; --handed-out compares the archive with a file")
    if files:
        from press_monitor.archive.keys import read_public_key
        from press_monitor.certificate.proof import check_files

        given = [(str(path), _read(path)) for path in files]
        checked = check_files(given, None if key is None else read_public_key(key))
        report, lines, ok = checked.to_json(), checked.lines(), checked.ok
    else:
        from press_monitor.archive.verify import verify as verified

        known = []
        if out:
            from press_monitor.certificate.proof import handed_out

            known = handed_out([(str(path), _read(path)) for path in out])
        found = verified(place(ctx, "archive", archive), key, handed_out=known)
        report, lines, ok = found.to_json(), list(found.lines()), found.ok
    if as_json:
        put_json(report)
    else:
        for line in lines:
            put(line)
    ctx.exit(0 if ok else PROBLEM)


def _read(path: Path) -> bytes:
    from press_monitor.certificate.proof import MOST_BYTES

    if str(path) == "-":
        return sys.stdin.buffer.read(MOST_BYTES + 1)
    with path.open("rb") as file:
        return file.read(MOST_BYTES + 1)
