"""One certificate without its archive: what its files prove, and that nothing can be changed in them unseen."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from hypothesis import given, settings
from hypothesis import strategies as st

from press_monitor.archive import ArchiveError, ArchiveReader
from press_monitor.archive.keys import read_public_key
from press_monitor.certificate.copies import Copy, read_copy
from press_monitor.certificate.proof import FileReport, ProofError, check_files, code_text, proof_of, read_code
from tests.archive.helpers import flip, tamper
from tests.certificate.conftest import Shop


@pytest.fixture(scope="module")
def copy(shop: Shop) -> Copy:
    with ArchiveReader(shop.archive) as reader:
        return read_copy(reader, 1)


@pytest.fixture(scope="module")
def key(shop: Shop) -> bytes:
    return read_public_key(shop.key)


def proof(copy: Copy) -> bytes:
    return proof_of(copy.record, copy.before, copy.public_key)


def code(copy: Copy) -> str:
    return code_text(copy.record, copy.before[copy.record.sealed.seq])


def check(key: bytes | None, *files: bytes) -> FileReport:
    return check_files([(f"file {n}", data) for n, data in enumerate(files)], key)


def test_a_proof_proves_the_record_and_what_was_added(copy: Copy, key: bytes) -> None:
    found = check(key, proof(copy))
    assert found.ok
    assert (found.certificate, found.proved, found.verdict) == (1, "record", "review")
    assert found.entries == (1, 4, 5)
    assert found.key_pinned
    assert found.key_fingerprint == hashlib.sha256(key).hexdigest()
    assert "holds: certificate 1 is what was sealed, verdict review" in found.lines()


def test_the_proof_holds_what_any_other_program_needs(copy: Copy, key: bytes) -> None:
    """SHA-256 and Ed25519 by their own libraries, with nothing of ours between."""
    told = json.loads(proof(copy))
    for entry in told["entries"]:
        digest = hashlib.sha256(bytes.fromhex(entry["after"]) + entry["sealed"].encode()).digest()
        assert digest.hex() == entry["hash"]
        Ed25519PublicKey.from_public_bytes(key).verify(bytes.fromhex(entry["signature"]), digest)
    assert told["entries"][0]["sealed"].encode() == copy.record.sealed.body


def test_a_proof_without_a_key_says_what_that_is_worth(copy: Copy) -> None:
    found = check(None, proof(copy))
    assert found.ok
    assert not found.key_pinned
    assert any("anyone can make a key" in note for note in found.notes)


def test_a_code_alone_proves_that_the_shop_signed_its_hash(copy: Copy, key: bytes) -> None:
    found = check(key, code(copy).encode())
    assert found.ok
    assert (found.certificate, found.proved, found.verdict) == (1, "hash", None)
    assert any("the number, the verdict and all the rest stand in the record" in note for note in found.notes)
    with pytest.raises(ProofError, match="--key"):
        check(None, code(copy).encode())


def test_a_code_with_another_signature_or_hash_proves_nothing(copy: Copy, key: bytes) -> None:
    words = code(copy).split("\n")
    for line in (1, 3):
        changed = [*words]
        changed[line] = changed[line][:-1] + ("0" if changed[line][-1] != "0" else "1")
        found = check(key, "\n".join(changed).encode())
        assert not found.ok
        assert found.proved is None
        assert "the signature does not hold" in found.problems[0]


def test_sealed_bytes_and_their_code_prove_the_record(copy: Copy, key: bytes) -> None:
    body = copy.record.sealed.body
    for sealed in (body, body + b"\n", body + b"\r\n"):
        found = check(key, sealed, code(copy).encode())
        assert found.ok, found.problems
        assert (found.proved, found.verdict, found.entries) == ("record", "review", (1,))
    with pytest.raises(ProofError, match="without its signature"):
        check(key, body)
    with pytest.raises(ProofError, match="without its signature"):
        check(key, body, code_text(copy.record).encode())
    changed = body.replace(b'"verdict":"review"', b'"verdict":"pass"')
    assert changed != body
    found = check(key, changed, code(copy).encode())
    assert not found.ok
    assert "not the record that this code was printed for" in found.problems[0]
    assert found.proved == "hash"


def test_another_certificates_code_does_not_fit(shop: Shop, copy: Copy, key: bytes) -> None:
    with ArchiveReader(shop.archive) as reader:
        other = read_copy(reader, 2)
    found = check(key, copy.record.sealed.body, code(other).encode())
    assert not found.ok
    assert any("certificate 2 and of certificate 1" in problem for problem in found.problems)
    assert not check(key, proof(copy), proof(other)).ok


def test_a_strangers_key_is_refused(shop: Shop, copy: Copy) -> None:
    other = read_public_key(shop.other_key)
    for files in ((proof(copy),), (code(copy).encode(),), (copy.record.sealed.body, code(copy).encode())):
        found = check(other, *files)
        assert not found.ok
        assert found.lines()[0] == "DOES NOT HOLD: certificate 1"


def test_a_proof_signed_with_a_key_of_ones_own_is_found_by_the_shops(copy: Copy, key: bytes) -> None:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    forger = Ed25519PrivateKey.generate()
    told = json.loads(proof(copy))
    public = forger.public_key().public_bytes_raw()
    told["public_key"], told["key_fingerprint"] = public.hex(), hashlib.sha256(public).hexdigest()
    for entry in told["entries"]:
        entry["sealed"] = entry["sealed"].replace('"verdict":"review"', '"verdict":"pass"')
        digest = hashlib.sha256(bytes.fromhex(entry["after"]) + entry["sealed"].encode()).digest()
        entry["hash"], entry["signature"] = digest.hex(), forger.sign(digest).hex()
    forged = json.dumps(told).encode()
    assert check(None, forged).ok  # which is why the report says that the key was not given
    assert not check(key, forged).ok


@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_any_changed_character_of_a_code_is_found(copy: Copy, key: bytes, data: st.DataObject) -> None:
    text = code(copy)
    place = data.draw(st.integers(0, len(text) - 1))
    letter = data.draw(st.sampled_from("0123456789abcdefxyz \n").filter(lambda c: c != text[place]))
    changed = text[:place] + letter + text[place + 1 :]
    meant, read = read_code(text), read_code(changed)
    if read is None or read == meant:
        return
    found = check(key, changed.encode(), copy.record.sealed.body)
    assert not found.ok


@settings(max_examples=200, deadline=None)
@given(data=st.data())
def test_any_changed_character_of_what_was_sealed_is_found(copy: Copy, key: bytes, data: st.DataObject) -> None:
    told = json.loads(proof(copy))
    entry = data.draw(st.sampled_from(told["entries"]))
    part = data.draw(st.sampled_from(["sealed", "hash", "after", "signature"]))
    place = data.draw(st.integers(0, len(entry[part]) - 1))
    letter = data.draw(st.sampled_from("0123456789abcdef").filter(lambda c: c != entry[part][place]))
    entry[part] = entry[part][:place] + letter + entry[part][place + 1 :]
    assert not check(key, json.dumps(told).encode()).ok


@pytest.mark.parametrize(
    "change",
    [
        lambda told: told.update(certificate=2),
        lambda told: told["entries"].reverse(),
        lambda told: told["entries"].pop(0),
        lambda told: told["entries"].append(told["entries"][1]),
        lambda told: told["entries"][1].update(kind="correction"),
        lambda told: told["entries"][1].update(entry=9),
        lambda told: told.update(public_key="00" * 32),
    ],
)
def test_entries_that_are_moved_dropped_or_renamed_are_found(copy: Copy, key: bytes, change: Any) -> None:
    told = json.loads(proof(copy))
    change(told)
    assert not check(key, json.dumps(told).encode()).ok


def test_a_later_entry_left_out_cannot_be_missed_and_the_report_says_so(copy: Copy, key: bytes) -> None:
    told = json.loads(proof(copy))
    told["entries"] = told["entries"][:1]
    found = check(key, json.dumps(told).encode())
    assert found.ok
    assert any("only its archive tells" in note for note in found.notes)


@pytest.mark.parametrize(
    "data",
    [
        *(b"", b"\x00\xff", b"hello", b"[]", b"{}", b"[" * 5000, b"null", b'"x"'),
        b'{"format":"press-monitor certificate, version 1"}',
        b'{"format":"press-monitor certificate, version 1","entries":[{}]}',
    ],
)
def test_files_that_are_neither_are_refused_by_name(key: bytes, data: bytes) -> None:
    with pytest.raises(ProofError, match="file 0"):
        check(key, data)


@settings(deadline=None)
@given(st.binary(max_size=300) | st.text(max_size=200).map(lambda text: text.encode("utf-8", "surrogatepass")))
def test_any_bytes_at_all_only_ever_raise_our_error(data: bytes) -> None:
    with pytest.raises(ProofError):
        check(b"\x01" * 32, data)


@settings(deadline=None)
@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.text(max_size=80),
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=10), inner, max_size=4),
        max_leaves=12,
    ),
    st.sampled_from(["certificate", "public_key", "key_fingerprint", "entries"]),
)
def test_a_proof_with_anything_in_any_place_raises_our_error_or_fails(
    copy: Copy, key: bytes, value: Any, at: str
) -> None:
    told = json.loads(proof(copy))
    if told[at] == value:
        return
    told[at] = value
    try:
        holds = check(key, json.dumps(told).encode()).ok
    except ProofError:
        holds = False
    assert not holds


def test_codes_are_read_however_a_scanner_hands_them_on(copy: Copy) -> None:
    text = code(copy)
    meant = read_code(text)
    assert meant is not None
    assert meant.after == bytes.fromhex(text.split()[-1])
    broken = text.replace("signature ", "signature\n  ").replace(text[-40:], f"{text[-40:-20]}\n  {text[-20:]}")
    for shown in (text.upper(), text.replace("\n", "\r\n"), " ".join(text.split()), f"  {text}\n\n", broken):
        assert read_code(shown) == meant
    assert read_code(text[:-1]) is None
    assert read_code(text.replace("certificate 1", "certificate 0")) is None


def test_no_copy_is_made_of_a_record_whose_seal_does_not_hold(shop: Shop, tmp_path: Any) -> None:
    broken = tmp_path / "broken.sqlite"
    from press_monitor.archive.backup import backup

    backup(shop.archive, broken)
    for table, column, row in (
        ("ledger", "body", 1),
        ("ledger", "signature", 1),
        ("ledger", "hash", 0),
        ("trace", "data", 1),
    ):
        mine = tmp_path / f"{table}-{column}.sqlite"
        backup(shop.archive, mine)
        tamper(mine, lambda db, t=table, c=column, r=row: flip(db, t, c, "entry" if t == "trace" else "seq", r, 501))
        with ArchiveReader(mine) as reader, pytest.raises(ArchiveError):
            read_copy(reader, 1)
    with ArchiveReader(broken) as reader:
        assert read_copy(reader, 1).record.number == 1
