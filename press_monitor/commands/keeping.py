"""Keeping the archive: copies, putting one back, what is damaged, the key and the drill."""

from __future__ import annotations

import time
from pathlib import Path

import click

from press_monitor.console import PATH, PROBLEM, archive_option, as_json, place, put, put_json, say

__all__ = ["archive"]

key_option = click.option("--key", type=PATH, metavar="FILE", help="The public key that must have signed it all.")


@click.group()
def archive() -> None:
    """Copies of the archive, putting one back, recovery, the signing key and its copy."""


@archive.command()
@archive_option
@click.option("--to", type=PATH, metavar="FILE", help="The copy.")
@click.option("--into", type=PATH, metavar="FOLDER", help="A folder, under a name with the time. [default: see paths]")
@click.option("--keep", type=click.IntRange(1), metavar="N", help="Delete all but the newest N such copies there.")
@click.option("--gently", is_flag=True, help="Leave the computer to others.")
@as_json
@click.pass_context
def backup(
    ctx: click.Context,
    /,
    archive: Path | None,
    to: Path | None,
    into: Path | None,
    keep: int | None,
    gently: bool,
    as_json: bool,
) -> None:
    """Copy the archive, also while the recorder writes it, and verify the copy. Exit 1 where that does not verify."""
    import os

    from press_monitor.archive.backup import backup as copied
    from press_monitor.archive.backup import backup_name, thin_out
    from press_monitor.paths import locations

    if to is not None and (into is not None or keep is not None):
        raise click.UsageError("--to names the file; --into and --keep belong to a folder of copies")
    if gently and hasattr(os, "nice"):
        os.nice(10)
    folder = locations().backups if into is None else into
    at = folder / backup_name(time.time()) if to is None else to
    report = copied(place(ctx, "archive", archive), at)
    # An archive that does not verify must not push out the copies that do.
    gone = thin_out(folder, keep) if keep is not None and report.ok else []
    if as_json:
        put_json({**report.to_json(), "deleted": [str(path) for path in gone]})
    else:
        for line in report.lines():
            put(line)
        for path in gone:
            say(f"deleted {path}")
    ctx.exit(0 if report.ok else PROBLEM)


@archive.command()
@click.argument("copy", type=PATH)
@archive_option
@key_option
@click.option("--give-up-newer", is_flag=True, help="Even where the archive has entries that the copy lacks.")
@as_json
@click.pass_context
def restore(
    ctx: click.Context, /, copy: Path, archive: Path | None, key: Path | None, give_up_newer: bool, as_json: bool
) -> None:
    """Put COPY in the archive's place. What lies there is kept beside it; the recorder must not run."""
    from press_monitor.archive.backup import restore as put_back

    report = put_back(copy, place(ctx, "archive", archive), key=key, give_up_newer=give_up_newer)
    if as_json:
        put_json(report.to_json())
    else:
        for line in report.lines():
            put(line)


@archive.command()
@archive_option
@click.option("--to", type=PATH, metavar="FILE", help="Write what can be saved there. [default: in its place]")
@key_option
@as_json
@click.pass_context
def recover(ctx: click.Context, /, archive: Path | None, to: Path | None, key: Path | None, as_json: bool) -> None:
    """Save what can be proved of a damaged archive; the damaged file is kept. Exit 1 where something was lost.

    Works on the bytes of the file, also where SQLite itself no longer opens it. A verified copy is better: restore it
    where there is one that is new enough.
    """
    from press_monitor.archive.recover import recover as saved

    report = saved(place(ctx, "archive", archive), to, key=key)
    if as_json:
        put_json(report.to_json())
    else:
        for line in report.lines():
            put(line)
    ctx.exit(0 if report.ok else PROBLEM)


@archive.command()
@archive_option
@as_json
@click.pass_context
def rebuild(ctx: click.Context, /, archive: Path | None, as_json: bool) -> None:
    """Make anew from the ledger what is derived: the index, the search, Stores. The recorder must not run."""
    from press_monitor.archive import Archive
    from press_monitor.archive.types import ArchiveError
    from press_monitor.paths import locations

    at = place(ctx, "archive", archive)
    if not at.exists():
        raise ArchiveError(f"{at}: there is no archive")
    with Archive.open(at, key_path=locations().key_file, holder="rebuild") as opened:
        indexed, unread = opened.rebuild_index()
    if as_json:
        put_json({"archive": str(at), "indexed": indexed, "unread": unread})
    else:
        put(f"{at}: {indexed} certificates indexed")
        if unread:
            put(f"not readable: certificates {', '.join(map(str, unread))}; press-monitor verify says why")
    ctx.exit(PROBLEM if unread else 0)


@archive.command("copy-key")
@click.argument("folder", type=PATH)
@as_json
def copy_key(folder: Path, as_json: bool) -> None:
    """Copy the signing key into FOLDER, which should not stay on this computer."""
    from datetime import datetime

    from press_monitor.archive.care import copy_keys
    from press_monitor.paths import locations

    written = copy_keys(locations().key_file, folder, datetime.now().astimezone().date().isoformat())
    if as_json:
        put_json({"files": [str(path) for path in written]})
    else:
        for path in written:
            put(str(path))
        say("Whoever has ledger.key can sign records as this shop: keep it locked away, off this computer.")


@archive.command()
@click.argument("folder", type=PATH)
@archive_option
@as_json
@click.pass_context
def drill(ctx: click.Context, /, folder: Path, archive: Path | None, as_json: bool) -> None:
    """Play a lost computer: what could be done with only what lies in FOLDER? Changes nothing. Exit 1: not enough."""
    from press_monitor.archive.care import drill as played

    found = played(folder, place(ctx, "archive", archive))
    if as_json:
        put_json({"findings": [finding.to_json() for finding in found]})
    else:
        for finding in found:
            put(finding.line())
    ctx.exit(0 if all(finding.ok for finding in found) else PROBLEM)


@archive.command()
@archive_option
@as_json
@click.pass_context
def successor(ctx: click.Context, /, archive: Path | None, as_json: bool) -> None:
    """After a lost key: end the archive as it stands and go on in a new one with a new key.

    The old one is kept whole beside it and can still be verified; certificate numbers go on.
    """
    from press_monitor.archive.recover import succeed
    from press_monitor.paths import locations

    report = succeed(place(ctx, "archive", archive), locations().key_file)
    if as_json:
        put_json(report.to_json())
    else:
        for line in report.lines():
            put(line)
