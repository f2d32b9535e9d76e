"""Who may read and write what the program leaves on the disk, and that recorder and dashboard use no network."""

from __future__ import annotations

import os
import stat
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from press_monitor.archive import Archive
from press_monitor.archive.keys import create_key, public_file
from press_monitor.paths import locations
from tests.archive.helpers import seal_one
from tests.crash.processes import Folder, until
from tests.screens.conftest import make_dashboard
from tests.screens.fakes import shop_of

posix = pytest.mark.skipif(sys.platform == "win32", reason="modes are POSIX's; on Windows the profile folder keeps out")


@pytest.fixture
def lax() -> Iterator[None]:
    """The laxest umask a careless administrator may have set."""
    before = os.umask(0o000)
    yield
    os.umask(before)


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


@posix
@pytest.mark.usefixtures("lax")
def test_only_the_shops_user_writes_the_archive_and_its_side_files(tmp_path: Path) -> None:
    path = tmp_path / "data" / "archive.sqlite"
    with Archive.open(path, key_path=tmp_path / "settings" / "ledger.key", ballast_bytes=8192) as archive:
        seal_one(archive, 30)
        found = {each.name: mode(each) for each in path.parent.iterdir()}
        assert {"archive.sqlite", "archive.sqlite-wal", "archive.sqlite.lock", "archive.sqlite.holder"} <= set(found)
        assert not {name: oct(m) for name, m in found.items() if m & 0o077}, "others may read or write these"
    assert mode(path.parent) & 0o077 == 0 and mode(tmp_path / "settings") & 0o077 == 0


@posix
@pytest.mark.usefixtures("lax")
def test_the_private_key_is_private_from_its_first_byte_and_the_public_one_is_not_secret(tmp_path: Path) -> None:
    key = tmp_path / "settings" / "ledger.key"
    create_key(key)
    assert mode(key) == 0o600
    assert mode(public_file(key)) == 0o644
    assert [each.name for each in key.parent.iterdir() if each.suffix not in (".key", ".pub")] == []


@pytest.mark.skipif(sys.platform != "linux", reason="reads Linux's own table of sockets")
def test_the_recorder_neither_listens_nor_talks_on_a_network(tmp_path: Path) -> None:
    folder = Folder(tmp_path)
    try:
        recorder = folder.start()
        assert sockets_of(recorder.pid) == [], "the recorder has a network socket"
    finally:
        folder.end()
    until(lambda: recorder.poll() is not None, "the recorder to be gone")


@pytest.mark.skipif(sys.platform != "linux", reason="reads Linux's own table of sockets")
async def test_the_dashboard_neither_listens_nor_talks_on_a_network() -> None:
    dashboard = make_dashboard(shop_of())
    before = set(sockets_of(os.getpid()))
    async with dashboard.run_test(size=(120, 36)) as pilot:
        for key in ("1", "0", "a", "escape", "r", "escape"):
            await pilot.press(key)
            assert set(sockets_of(os.getpid())) <= before, f"after {key}"


def sockets_of(pid: int) -> list[str]:
    """The process's sockets of the internet families, as ``table: local address``; by inode (proc(5))."""
    held = set()
    for handle in Path(f"/proc/{pid}/fd").iterdir():
        try:
            target = os.readlink(handle)
        except OSError:
            continue
        if target.startswith("socket:["):
            held.add(target[8:-1])
    found = []
    for table in ("tcp", "tcp6", "udp", "udp6", "raw", "raw6"):
        for line in Path(f"/proc/{pid}/net/{table}").read_text().splitlines()[1:]:
            words = line.split()
            if words[9] in held:
                found.append(f"{table}: {words[1]}")
    return found


def test_the_socket_table_is_read_right() -> None:
    """A listener of this very process is found: the test above could fail."""
    import socket

    if sys.platform != "linux":
        pytest.skip("reads Linux's own table of sockets")
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen()
        port = listening.getsockname()[1]
        assert any(each.endswith(f":{port:04X}") for each in sockets_of(os.getpid()))


def test_settings_archive_and_key_lie_in_the_users_own_folders() -> None:
    places = locations()
    assert places.key_file.parent != places.archive.parent, "a copied archive must not bring its key along"
