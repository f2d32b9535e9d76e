"""Power cuts: what a disk may hold at any moment of a recorder's life, rebuilt and checked.

A recorder runs under strace, which writes down every write, sync, truncation, renaming and deletion with its data. At a
cut, what was synced is on the disk; of the rest each write may be there, not there or torn (sector by sector), in any
order, and names that were not synced may be the old ones. The files are laid out so in a fresh folder, and the same
invariants must hold as after a kill: above all, everything acknowledged before the cut is there. What SQLite keeps in
shared memory (``-shm``) holds anything or nothing.
"""

from __future__ import annotations

import json
import random
import re
import shutil
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from press_monitor.archive import Archive, ArchiveError
from press_monitor.archive.verify import verify
from press_monitor.recorder.clock import monotonic_through_sleep
from tests.crash import launcher, world
from tests.crash.boundaries import die
from tests.crash.invariants import Inspector
from tests.crash.launcher import Place
from tests.crash.processes import ROOT

SECTOR = 512
_CALLS = (
    "openat,creat,write,pwrite64,ftruncate,fallocate,fsync,fdatasync,"
    "rename,renameat,renameat2,link,linkat,unlink,unlinkat,mkdir,mkdirat"
)
_LINE = re.compile(r"(\d+) +(\w+)\((.*)\) += (-?\d+)(?:<.*>)?(?: \S+ \(.*\))?$")
_BEGUN = re.compile(r"(\d+) +(\w+)\((.*) <unfinished \.\.\.>$")
_ENDED = re.compile(r"(\d+) +<\.\.\. (\w+) resumed>(.*)$")
_FD = re.compile(r"-?\w+<((?:\\x[0-9a-f]{2})*)>(\(deleted\))?")
_TEXT = re.compile(r'"((?:\\x[0-9a-f]{2})*)"(\.\.\.)?')


@dataclass(frozen=True, slots=True)
class Did:
    """One thing done to the disk, in the order it was done: `name` of a file, `other` a second name."""

    what: str
    name: str
    data: bytes = b""
    at: int = 0
    other: str = ""


def available() -> bool:
    """Whether strace is here and may trace."""
    if shutil.which("strace") is None:
        return False
    tried = subprocess.run(["strace", "-f", "-qq", "-o", "/dev/null", "true"], capture_output=True, check=False)
    return tried.returncode == 0


def traced(command: list[str], to: Path) -> list[str]:
    """The command line that runs a command and writes down what it does to files."""
    options = ["-f", "-qq", "-y", "-xx", "-s", "4194304", "-e", f"trace={_CALLS}", "--seccomp-bpf", "-o", str(to)]
    return ["strace", *options, *command]


def read_trace(path: Path, folder: Path) -> list[Did]:
    """What was done to the files below a folder; names relative to it."""
    found: list[Did] = []
    begun: dict[str, str] = {}
    with path.open(encoding="ascii", errors="replace") as lines:
        for text in lines:
            line = text.rstrip("\n")
            if half := _BEGUN.match(line):
                begun[half[1]] = f"{half[1]} {half[2]}({half[3]}"
                continue
            if rest := _ENDED.match(line):
                line = begun.pop(rest[1], "") + rest[3]
            if (call := _LINE.match(line)) and int(call[4]) >= 0:
                found += _did(call[2], call[3], int(call[4]), str(folder))
    return found


def _did(call: str, args: str, result: int, folder: str) -> Iterator[Did]:
    if call in ("write", "pwrite64", "ftruncate", "fallocate", "fsync", "fdatasync"):
        fd = _FD.match(args)
        name = None if fd is None or fd[2] else _inside(_bytes(fd[1]).decode(), folder)
        if name is None:
            return
        assert fd is not None
        rest = args[fd.end() :].lstrip(", ")
        if call in ("fsync", "fdatasync"):
            yield Did("sync", name)
        elif call == "ftruncate":
            yield Did("truncate", name, at=int(rest))
        elif call == "fallocate":
            mode, start, size = rest.split(", ")
            assert mode == "0", f"an fallocate this does not understand: {args}"
            yield Did("extend", name, at=int(start) + int(size))
        else:
            text = _TEXT.match(rest)
            assert text is not None
            assert not text[2], "strace cut a write short"
            data = _bytes(text[1])[:result]
            at = int(rest[text.end() :].split(", ")[2]) if call == "pwrite64" else -1
            yield Did("write", name, data, at)
        return
    names = [_inside(_bytes(each[1]).decode(errors="replace"), folder) for each in _TEXT.finditer(args)]
    if not names or None in names:
        return
    first = str(names[0])
    if call in ("openat", "creat"):
        if call == "creat" or "O_CREAT" in args or "O_TRUNC" in args:
            yield Did("open", first, other="truncate" if call == "creat" or "O_TRUNC" in args else "")
    elif call.startswith("mkdir"):
        yield Did("mkdir", first)
    elif call.startswith("unlink"):
        yield Did("unlink", first)
    elif call.startswith("rename"):
        yield Did("rename", first, other=str(names[1]))
    elif call.startswith("link"):
        yield Did("link", first, other=str(names[1]))


def _bytes(text: str) -> bytes:
    return bytes.fromhex(text.replace("\\x", ""))


def _inside(path: str, folder: str) -> str | None:
    if path == folder:
        return "."
    return path[len(folder) + 1 :] if path.startswith(folder + "/") else None


@dataclass(slots=True)
class _File:
    """One file's history: what was done to it, and how much of that was synced."""

    did: list[Did] = field(default_factory=list)
    synced: int = 0
    size: int = 0


class Disk:
    """A disk on which things were done up to a moment. What was there before the first of them is safe."""

    def __init__(self, before: dict[str, bytes]) -> None:
        self.files: dict[str, _File] = {}
        self.names: list[tuple[Did, _File | None]] = []
        self._safe_names: set[int] = set()
        self._first: dict[str, _File] = {}
        for name, data in before.items():
            self.files[name] = self._first[name] = _File([Did("write", name, data)], 1, len(data))

    def take(self, did: Did) -> None:
        """Do one thing more."""
        if did.what == "sync":
            self._sync(did.name)
        elif did.what in ("write", "truncate", "extend"):
            self._change(did)
        else:
            self._rename(did)

    def _sync(self, name: str) -> None:
        if name in self.files:
            self.files[name].synced = len(self.files[name].did)
        else:
            for number, (done, _) in enumerate(self.names):
                if any(_folder_of(each) == name for each in (done.name, done.other) if each):
                    self._safe_names.add(number)

    def _change(self, did: Did) -> None:
        file = self.files.get(did.name)
        if file is None:
            return
        if did.what == "write":
            at = file.size if did.at < 0 else did.at
            file.did.append(Did("write", did.name, did.data, at))
            file.size = max(file.size, at + len(did.data))
        else:
            file.size = did.at if did.what == "truncate" else max(file.size, did.at)
            file.did.append(did)

    def _rename(self, did: Did) -> None:
        if did.what == "open":
            if did.name not in self.files:
                self.files[did.name] = _File()
                self.names.append((Did("make", did.name), self.files[did.name]))
            elif did.other:
                self._change(Did("truncate", did.name))
            return
        if did.what == "mkdir":
            self.names.append((did, None))
            return
        file = self.files.get(did.name)
        if file is None:
            return
        self.names.append((did, file))
        if did.what == "link":
            self.files[did.other] = file
            return
        del self.files[did.name]
        if did.what == "rename":
            self.files[did.other] = file

    def after_a_cut(self, chance: random.Random, keep: float) -> tuple[dict[str, bytes], set[str]]:
        """Files, and folders made, that may be found: each unsynced write is kept with this probability, or torn."""
        names, folders = dict(self._first), set[str]()
        pending = [n for n in range(len(self.names)) if n not in self._safe_names]
        # Names change in the order they were changed: a file system keeps a journal of these at least.
        until_name = 0 if keep == 0.0 else len(pending) if keep == 1.0 else chance.randint(0, len(pending))
        lost = set(pending[until_name:])
        for number, (did, file) in enumerate(self.names):
            if number in lost:
                continue
            if did.what == "mkdir":
                folders.add(did.name)
            elif did.what == "make" and file is not None:
                names[did.name] = file
            elif did.what == "link" and file is not None:
                names[did.other] = file
            else:
                moved = names.pop(did.name, None)
                if did.what == "rename" and moved is not None:
                    names[did.other] = moved
        reachable = {
            name: file for name, file in names.items() if _folder_of(name) in folders | {"."} | self._old_folders()
        }
        return {name: self._held(file, chance, keep) for name, file in reachable.items()}, folders

    def _old_folders(self) -> set[str]:
        return {_folder_of(name) for name in self._first}

    @staticmethod
    def _held(file: _File, chance: random.Random, keep: float) -> bytes:
        held = bytearray()
        for number, did in enumerate(file.did):
            safe = number < file.synced
            if not safe and chance.random() >= keep:
                continue
            if did.what == "truncate":
                del held[did.at :]
                held.extend(bytes(did.at - len(held)))
            elif did.what == "extend":
                held.extend(bytes(max(0, did.at - len(held))))
            else:
                _lay(held, did, chance if not safe and 0.0 < keep < 1.0 else None)
        return bytes(held)


def _lay(held: bytearray, did: Did, torn: random.Random | None) -> None:
    """Put a write's data in; torn: of each of its sectors either the new or what was there."""
    end = did.at + len(did.data)
    held.extend(bytes(max(0, end - len(held))))
    if torn is None or torn.random() < 0.5:
        held[did.at : end] = did.data
        return
    for start in range(did.at, end, SECTOR):
        if torn.random() < 0.5:
            stop = min(start + SECTOR, end)
            held[start:stop] = did.data[start - did.at : stop - did.at]


def _folder_of(name: str) -> str:
    return name.rpartition("/")[0] or "."


@dataclass(frozen=True, slots=True)
class Recording:
    """One recorder's life as it was written down."""

    did: list[Did]
    before: dict[str, bytes]
    archive: str
    key: str


def record_a_life(
    folder: Path, *, shop_s: float = 0.0, commits: int = 0, unsafe: str = "", old: bool = False, speed: float = 100.0
) -> Recording:
    """Trace a recorder for so many shop seconds, or commits; `old`: on an archive of an earlier format."""
    place = Place(folder)
    folder.mkdir(parents=True)
    place.shop.write_text(world.shop_text(2), encoding="utf-8")
    if old:
        from tests.archive.fixtures.make import FOLDER, write_key

        write_key(place.key)
        place.archive.parent.mkdir()
        shutil.copyfile(FOLDER / "version-1.db", place.archive)
    before = {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    now = monotonic_through_sleep()
    about = {"zero": now, "zero_utc": time.time(), "speed": speed, "back": 0.0}
    command = [
        sys.executable,
        "-m",
        "tests.crash.power",
        str(folder),
        json.dumps(about),
        f"{shop_s / speed}",
        str(commits),
        unsafe,
    ]
    with (folder.parent / f"{folder.name}.out").open("wb") as out:
        process = subprocess.Popen(
            traced(command, folder.parent / f"{folder.name}.trace"), cwd=ROOT, stdout=out, stderr=out
        )
        process.wait(300.0)
    did = read_trace(folder.parent / f"{folder.name}.trace", folder)
    return Recording(did, before, place.archive.name, str(place.key.relative_to(folder)))


@dataclass(slots=True)
class Cuts:
    """What came of a number of cuts."""

    cuts: int = 0
    lost: int = 0
    """Unsynced things at the cuts, all together."""
    kept: Counter[str] = field(default_factory=Counter)
    violations: list[str] = field(default_factory=list)


def cut(recording: Recording, folder: Path, cuts: int, seed: int, *, replay_every: int = 10, most: int = 20) -> Cuts:
    """Cut the power so often, each time from the life's beginning to another moment, and check what is left."""
    chance, report = random.Random(seed), Cuts()
    syncs = [n for n, did in enumerate(recording.did) if did.what == "sync"]
    moments = [
        min(len(recording.did), max(0, chance.choice(syncs) + chance.randint(-1, 2)))
        if syncs and chance.random() < 0.5
        else chance.randint(0, len(recording.did))
        for _ in range(cuts)
    ]
    disk, done, acks = Disk(recording.before), 0, b""
    for number, moment in enumerate(sorted(moments)):
        for did in recording.did[done:moment]:
            disk.take(did)
            if did.name == "acknowledged" and did.what == "write":
                acks += did.data
        done = max(done, moment)
        keep = chance.choice((0.0, 0.0, 0.5, 0.5, 0.9, 1.0))
        files, folders = disk.after_a_cut(chance, keep)
        place = Place(folder / f"cut-{number}")
        for name in folders:
            (place.folder / name).mkdir(parents=True, exist_ok=True)
        for name, data in files.items():
            path = place.folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            if name.endswith("-shm"):
                data = chance.choice((b"", chance.randbytes(32768), data))
            path.write_bytes(data)
        place.folder.mkdir(parents=True, exist_ok=True)
        place.acks.write_bytes(acks)
        report.cuts += 1
        report.lost += sum(len(file.did) - file.synced for file in disk.files.values())
        report.kept[f"{keep:g}"] += 1
        found = _check(place, replay=number % replay_every == 0)
        report.violations += [
            f"cut {number} after {moment} of {len(recording.did)} things, keep {keep}: {v}" for v in found
        ]
        if not found:
            shutil.rmtree(place.folder)
        if len(report.violations) >= most:
            break
    return report


def _check(place: Place, *, replay: bool) -> list[str]:
    found = Inspector(place, replay=replay).check()
    if found:
        return found
    try:
        # And it can be gone on with.
        with Archive.open(place.archive, key_path=place.key) as archive:
            archive.beat(1.0)
        report = verify(place.archive, place.key)
    except ArchiveError as error:
        return [f"cannot be gone on with: {error}"]
    return [] if report.ok else [f"does not verify, gone on with: {report.problems[0]}"]


def _end(place: Place, seconds: float, commits: int) -> None:
    """Die when the time is over, or when so many commits were acknowledged."""
    time.sleep(seconds)
    while commits and (not place.acks.exists() or place.acks.read_bytes().count(b"\n") < commits):
        time.sleep(0.02)
    die()


def main() -> None:
    """What runs under strace."""
    folder, about, seconds, commits, unsafe = sys.argv[1:]
    place = Place(Path(folder))
    threading.Thread(target=_end, args=(place, float(seconds), int(commits)), daemon=True).start()
    launcher.record(place, world.Hands(**json.loads(about)), unsafe=unsafe, tickets=True, ballast_bytes=1 << 20)


if __name__ == "__main__":
    main()
