"""One certificate outside the archive: the text of its QR code, its proof file, and checking either against a key.

The QR code carries number, hash, key fingerprint, signature and the hash of the entry before, so that together with
the sealed bytes (``certificate N --json``) it proves the whole record, and by itself that the shop signed this hash. A
proof file is JSON with the sealed text of the record and of the entries that name it, each with what its hash and
signature need; it proves all of them by itself. Hashes are always taken over the sealed text as it stands, never over
JSON written anew.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, Final

from press_monitor.archive.keys import Verifier, fingerprint
from press_monitor.archive.ledger import CURE_RECORD, chained
from press_monitor.archive.types import ArchiveError, CertificateRecord, LedgerEntry

__all__ = [
    "PROOF_FORMAT",
    "CodeText",
    "FileReport",
    "ProofError",
    "check_files",
    "code_text",
    "handed_out",
    "proof_of",
    "read_code",
]

Json = Any

PROOF_FORMAT: Final = "press-monitor certificate, version 1"
MOST_BYTES: Final = 64 * 1024 * 1024

_CODE = re.compile(
    r"press-monitor\s+certificate\s+(?P<number>[1-9]\d{0,11})\s+hash(?P<hash>(?:\s*[0-9a-f]){64})"
    r"\s+key(?P<key>(?:\s*[0-9a-f]){64})\s+signature(?P<signature>(?:\s*[0-9a-f]){128})"
    r"(?:\s+after(?P<after>(?:\s*[0-9a-f]){64}))?",
    re.IGNORECASE,
)
LONGEST_CODE: Final = 4096


class ProofError(ArchiveError):
    """A file that is neither a proof nor a QR code's text; the message names it and fits the operator."""


@dataclass(frozen=True, slots=True)
class CodeText:
    """What a certificate's QR code says. `after` is the hash of the ledger entry before, None where left out."""

    number: int
    hash: bytes
    key_fingerprint: str
    signature: bytes
    after: bytes | None


def code_text(record: CertificateRecord, after: bytes | None = None) -> str:
    """The text of a certificate's QR code, a line a fact."""
    lines = [
        f"press-monitor certificate {record.number}",
        f"hash {record.sealed.hash.hex()}",
        f"key {record.key_fingerprint}",
        f"signature {record.sealed.signature.hex()}",
    ]
    if after is not None:
        lines.append(f"after {after.hex()}")
    return "\n".join(lines)


def read_code(text: str) -> CodeText | None:
    """The inverse of `code_text`, however a scanner broke the lines or wrote the letters; None for other text."""
    found = _CODE.fullmatch(text.strip()) if len(text) <= LONGEST_CODE else None
    if found is None:
        return None
    after = found["after"]
    return CodeText(
        int(found["number"]),
        _digits(found["hash"]),
        _digits(found["key"]).hex(),
        _digits(found["signature"]),
        None if after is None else _digits(after),
    )


def _digits(text: str) -> bytes:
    """Hex digits whose line was broken anywhere, between the two of one byte too."""
    return bytes.fromhex("".join(text.split()))


def proof_of(record: CertificateRecord, before: Mapping[int, bytes], public_key: bytes) -> bytes:
    """The proof file of a certificate. `before` holds the hash before each of its entries, by entry number."""
    entries = [_entry_json(entry, before[entry.seq]) for entry in (record.sealed, *record.later)]
    proof = {
        "format": PROOF_FORMAT,
        "certificate": record.number,
        "public_key": public_key.hex(),
        "key_fingerprint": record.key_fingerprint,
        "entries": entries,
    }
    return (json.dumps(proof, ensure_ascii=False, indent=1) + "\n").encode()


def _entry_json(entry: LedgerEntry, before: bytes) -> Json:
    return {
        "entry": entry.seq,
        "kind": entry.kind,
        "after": before.hex(),
        "hash": entry.hash.hex(),
        "signature": entry.signature.hex(),
        "sealed": entry.body.decode(),
    }


@dataclass(frozen=True, slots=True)
class FileReport:
    """What the files of one certificate prove.

    Attributes:
        ok: everything that they claim holds.
        certificate: the number they claim.
        proved: ``record`` where the record itself was proved, ``hash`` where only that the shop signed this hash.
        verdict: as sealed; None where the record is not in the files.
        entries: the ledger entries that were proved.
        key_fingerprint: of the key they were checked against.
        key_pinned: whether that key was given, or only taken from the file itself.
        problems: what does not hold, a sentence each.
        notes: what the files cannot prove.
    """

    ok: bool
    certificate: int | None
    proved: str | None
    verdict: str | None
    entries: tuple[int, ...]
    key_fingerprint: str | None
    key_pinned: bool
    problems: tuple[str, ...]
    notes: tuple[str, ...]

    def to_json(self) -> dict[str, Json]:
        """Every key, always."""
        return asdict(self)

    def lines(self) -> list[str]:
        """For people."""
        what = f"certificate {self.certificate}" if self.certificate is not None else "this file"
        if not self.ok:
            said = [f"DOES NOT HOLD: {what}"]
        elif self.proved == "record":
            said = [f"holds: {what} is what was sealed, verdict {self.verdict}"]
        else:
            said = [f"holds: the shop's key signed the hash that stands in the code of {what}"]
        said += [f"  {problem}" for problem in self.problems]
        if self.entries:
            said.append(f"  ledger entries proved: {', '.join(map(str, self.entries))}")
        if self.key_fingerprint is not None:
            origin = "the key given" if self.key_pinned else "a key that stands in the file itself"
            said.append(f"  checked against {origin}, fingerprint {self.key_fingerprint}")
        return said + [f"  note: {note}" for note in self.notes]


@dataclass(slots=True)
class _Findings:
    number: int | None = None
    proved: str | None = None
    verdict: str | None = None
    entries: list[int] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def same_number(self, number: Json) -> None:
        if self.number is None:
            self.number = number if isinstance(number, int) else None
        elif number != self.number:
            self.problems.append(f"the files speak of certificate {self.number} and of certificate {number}")


def check_files(files: Sequence[tuple[str, bytes]], public_key: bytes | None) -> FileReport:
    """Check what files (name, bytes) prove about one certificate.

    Each file is a proof, a QR code's text, or the sealed bytes of a record, which need their code's text beside them.
    Without `public_key` the key in the proof is believed, and the report says so.

    Raises `ProofError` for files that are none of these, or codes without any key to check them by.
    """
    codes, proofs, records = _sorted(files)
    key = public_key
    if key is None:
        if not proofs:
            raise ProofError("only a proof file brings a key; check a code's text or a record with --key FILE")
        key = _bytes(proofs[0][0], proofs[0][1], "public_key", 32)
    try:
        holds = Verifier(key).holds
    except ArchiveError as error:
        raise ProofError(f"{proofs[0][0] if proofs else 'the key'}: {error}") from None
    found = _Findings()
    for name, proof in proofs:
        _check_proof(name, proof, key, holds, found)
    for name, code in codes:
        _check_code(name, code, key, holds, found)
    for name, sealed in records:
        _check_record(name, sealed, [code for _, code in codes], holds, found)
    if found.proved == "hash":
        found.notes.append(
            "the number, the verdict and all the rest stand in the record, which a code does not hold: compare the hash"
            " with the paper's, or check the record's own file"
        )
    if found.proved == "record":
        found.notes.append("whether the shop has added anything since, such as a comeback, only its archive tells")
    if public_key is None:
        found.notes.append("anyone can make a key: give the shop's own with --key, got from the shop itself")
    return FileReport(
        not found.problems,
        found.number,
        found.proved,
        found.verdict,
        tuple(found.entries),
        fingerprint(key),
        public_key is not None,
        tuple(found.problems),
        tuple(found.notes),
    )


def _sorted(
    files: Sequence[tuple[str, bytes]],
) -> tuple[list[tuple[str, CodeText]], list[tuple[str, Mapping[str, Json]]], list[tuple[str, bytes]]]:
    codes: list[tuple[str, CodeText]] = []
    proofs: list[tuple[str, Mapping[str, Json]]] = []
    records: list[tuple[str, bytes]] = []
    for name, data in files:
        if len(data) > MOST_BYTES:
            raise ProofError(f"{name}: is larger than {MOST_BYTES // 2**20} MiB")
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError:
            raise ProofError(f"{name}: is not text; give a proof file, a QR code's text or a sealed record") from None
        code = read_code(text)
        if code is not None:
            codes.append((name, code))
            continue
        try:
            content = json.loads(text)
        except (ValueError, RecursionError):
            content = None
        if isinstance(content, Mapping) and content.get("format") == PROOF_FORMAT:
            proofs.append((name, content))
        elif isinstance(content, Mapping) and content.get("kind") == CURE_RECORD:
            # An editor may have ended the file with a line break, which was never sealed.
            records.append((name, data.strip(b"\r\n")))
        else:
            raise ProofError(f"{name}: is neither a proof file, nor a QR code's text, nor a sealed record")
    return codes, proofs, records


def _bytes(name: str, holder: Json, key: str, length: int) -> bytes:
    value = holder.get(key) if isinstance(holder, Mapping) else None
    try:
        made = bytes.fromhex(value) if isinstance(value, str) else b""
    except ValueError:
        made = b""
    if len(made) != length:
        raise ProofError(f"{name}: {key}: is not {2 * length} hex digits")
    return made


def _check_proof(name: str, proof: Mapping[str, Json], key: bytes, holds: Any, found: _Findings) -> None:  # noqa: ANN401
    found.same_number(proof.get("certificate"))
    if proof.get("public_key") != key.hex() or proof.get("key_fingerprint") != fingerprint(key):
        found.problems.append(
            f"{name}: was signed by another key, or names another, than the one it is checked against"
        )
    entries = proof.get("entries")
    if not isinstance(entries, list) or not entries:
        raise ProofError(f"{name}: entries: is not a list of ledger entries")
    last = -1
    for place, entry in enumerate(entries):
        after, stated, signature = (
            _bytes(name, entry, part, length) for part, length in (("after", 32), ("hash", 32), ("signature", 64))
        )
        sealed = entry.get("sealed")
        if not isinstance(sealed, str):
            raise ProofError(f"{name}: sealed: is not text")
        try:
            body = sealed.encode()
            content = json.loads(sealed)
        except (ValueError, RecursionError):
            body, content = b"", None
        said = content if isinstance(content, Mapping) else {}
        number = said.get("entry")
        if chained(after, body) != stated:
            found.problems.append(f"{name}: entry {entry.get('entry')} was changed: its hash does not follow from it")
        elif not holds(signature, stated):
            found.problems.append(f"{name}: entry {entry.get('entry')}: the signature does not hold")
        elif (number, said.get("kind")) != (entry.get("entry"), entry.get("kind")):
            found.problems.append(
                f"{name}: entry {entry.get('entry')}: is sealed as entry {number}, {said.get('kind')}"
            )
        elif said.get("certificate") != proof.get("certificate"):
            found.problems.append(f"{name}: entry {number} belongs to certificate {said.get('certificate')}")
        elif (said.get("kind") == CURE_RECORD) != (place == 0) or not isinstance(number, int) or number <= last:
            found.problems.append(f"{name}: entry {number} does not stand where it belongs")
        else:
            last = number
            found.entries.append(number)
            if place == 0:
                found.proved = "record"
                found.verdict = _verdict(said)


def handed_out(files: Sequence[tuple[str, bytes]]) -> list[tuple[int, bytes]]:
    """Number and hash of certificates that left the shop, from their proof files or the text of their codes.

    What they claim is not checked here: whoever has one compares it with the archive. Raises `ProofError`.
    """
    codes, proofs, records = _sorted(files)
    if records:
        raise ProofError(f"{records[0][0]}: a sealed record without its hash; give its proof file or its code's text")
    found = [(code.number, code.hash) for _, code in codes]
    for name, proof in proofs:
        number, entries = proof.get("certificate"), proof.get("entries")
        if not isinstance(number, int) or not isinstance(entries, list) or not entries:
            raise ProofError(f"{name}: is no whole proof")
        found.append((number, _bytes(name, entries[0], "hash", 32)))
    return found


def _verdict(content: Mapping[str, Json]) -> str | None:
    result = content.get("result")
    verdict = result.get("verdict") if isinstance(result, Mapping) else None
    return verdict if isinstance(verdict, str) else None


def _check_code(name: str, code: CodeText, key: bytes, holds: Any, found: _Findings) -> None:  # noqa: ANN401
    found.same_number(code.number)
    if code.key_fingerprint != fingerprint(key):
        found.problems.append(f"{name}: names the key {code.key_fingerprint}, not the one it is checked against")
    elif not holds(code.signature, code.hash):
        found.problems.append(f"{name}: the signature does not hold")
    else:
        found.proved = found.proved or "hash"


def _check_record(name: str, sealed: bytes, codes: Sequence[CodeText], holds: Any, found: _Findings) -> None:  # noqa: ANN401
    content = json.loads(sealed)
    found.same_number(content.get("certificate"))
    whole = [code for code in codes if code.after is not None]
    if not whole:
        raise ProofError(
            f"{name}: is the sealed record without its signature: give the text of its QR code too (another --file),"
            " or a proof file (certificate N --proof F)"
        )
    if any(chained(code.after or b"", sealed) == code.hash and holds(code.signature, code.hash) for code in whole):
        found.proved = "record"
        found.verdict = _verdict(content)
        if isinstance(content.get("entry"), int):
            found.entries.append(content["entry"])
    else:
        found.problems.append(f"{name}: is not the record that this code was printed for, or was changed")
