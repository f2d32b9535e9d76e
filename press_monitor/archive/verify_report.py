"""What `verify` found: what does not hold, and what still does."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass

from press_monitor.archive.types import Json

__all__ = ["Problem", "VerifyReport"]


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that does not hold.

    Attributes:
        entry: the ledger entry, None where it is not one entry's.
        certificate: the certificate concerned, None where it is none's.
        what: ``missing``, ``chain``, ``signature``, ``key``, ``columns``, ``number``, ``trace``, ``index``,
            ``handed-out``, ``file``.
        message: one plain sentence.
    """

    entry: int | None
    certificate: int | None
    what: str
    message: str


@dataclass(frozen=True, slots=True)
class VerifyReport:
    """What `verify` found. `entries` and `certificates` count what is there, sound or not.

    `first_bad` is the first ledger entry with a problem; entries before it hold, and so do the later ones that are
    not named. `certificates_bad` lists those that cannot be relied on.
    """

    ok: bool
    archive: str
    entries: int
    certificates: int
    first_bad: int | None
    certificates_bad: tuple[int, ...]
    problems: tuple[Problem, ...]
    head_entry: int | None
    head_hash: str | None
    key_fingerprint: str | None
    key_pinned: bool
    traces_unpacked: bool
    handed_out: int
    """Certificates handed out that the archive was compared with."""

    def to_json(self) -> dict[str, Json]:
        """Every key, always."""
        return {
            **{name: getattr(self, name) for name in self.__slots__},
            "certificates_bad": list(self.certificates_bad),
            "problems": [asdict(problem) for problem in self.problems],
        }

    def lines(self) -> Iterator[str]:
        """The report in words: what holds, then what does not."""
        if self.ok:
            yield f"{self.archive}: {self.entries} ledger entries and {self.certificates} certificates hold"
        else:
            for problem in self.problems:
                yield problem.message
            if self.first_bad is not None:
                first = self.first_bad
                yield f"first bad entry: {first}; " + (
                    f"entries 0 to {first - 1} hold" if first else "no entry before it"
                )
            bad = ", ".join(map(str, self.certificates_bad)) or "none"
            good = self.certificates - len(self.certificates_bad)
            yield f"{good} of {self.certificates} certificates hold; not: {bad}"
        yield f"head: entry {self.head_entry}, hash {self.head_hash}"
        if self.handed_out:
            yield f"compared with {self.handed_out} certificate{'s' if self.handed_out > 1 else ''} handed out"
        pinned = "the pinned one" if self.key_pinned else "as entry 0 says; pin it with --key to be sure of it"
        yield f"key: {self.key_fingerprint} ({pinned})"
