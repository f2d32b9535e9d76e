"""The ledger's three foundations against published vectors and a second implementation."""

from __future__ import annotations

import hashlib
import json
import math
import struct

import jcs
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given, settings
from hypothesis import strategies as st

from press_monitor.archive.keys import SigningKey, Verifier
from press_monitor.archive.ledger import GENESIS_PREV, RecordError, canonical, chained

# FIPS 180-4 examples (values from memory, checked against hashlib).
SHA_256 = [
    (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
    (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
    (
        b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
    ),
]


@pytest.mark.parametrize(("message", "digest"), SHA_256)
def test_the_chain_is_sha_256_of_the_hash_before_and_the_body(message: bytes, digest: str) -> None:
    assert chained(b"", message).hex() == digest
    cut = len(message) // 2
    assert chained(message[:cut], message[cut:]).hex() == digest
    assert GENESIS_PREV.hex() == "00" * 32


def test_rfc_8785_section_3_2_2() -> None:
    given_text = (
        r'{"numbers":[333333333.33333329,1E30,4.50,2e-3,1e-27],'
        r'"string":"\u20ac$\u000F\u000aA\u0027\u0042\u0022\u005c\\\"\/","literals":[null,true,false]}'
    )
    stored = canonical(json.loads(given_text))
    assert stored.decode() == (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )
    assert hashlib.sha256(stored).hexdigest() == "2d5e01a318d0f0879ab568c4be289c8b1f64ef8921a53c6277d5e069978baacb"


def test_rfc_8785_orders_keys_by_utf_16_units() -> None:
    keys = ["\r", "1", "\u0080", "ö", "€", "\U0001f600", "\ufb33"]
    assert list(json.loads(canonical(dict.fromkeys(reversed(keys), 0)))) == keys


# RFC 8785 appendix B: IEEE 754 bits and their text.
NUMBERS = [
    ("8000000000000000", "0"),
    ("0000000000000001", "5e-324"),
    ("4340000000000000", "9007199254740992"),
    ("444b1ae4d6e2ef50", "1e+21"),
    ("3eb0c6f7a0b5ed8d", "0.000001"),
    ("41b3de4355555557", "333333333.33333343"),
]


@pytest.mark.parametrize(("bits", "text"), NUMBERS)
def test_rfc_8785_appendix_b(bits: str, text: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert canonical({"n": number}).decode() == f'{{"n":{text}}}'


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_a_number_that_is_not_finite_is_refused_by_its_key(number: float) -> None:
    with pytest.raises(RecordError, match=r"body\.cure\.depths\[1\]: .* is not a finite number"):
        canonical({"cure": {"depths": [0.0, number]}})


@pytest.mark.parametrize("number", [1 << 53, -(1 << 53), 10**30])
def test_an_integer_that_a_double_cannot_hold_is_refused(number: int) -> None:
    with pytest.raises(RecordError, match=r"body\.rows: -?\d+ is too large"):
        canonical({"rows": number})
    assert canonical({"rows": (1 << 53) - 1}) == b'{"rows":9007199254740991}'


@pytest.mark.parametrize("value", [b"x", {1, 2}, object(), {1: 2}, "\ud800", 1j])
def test_what_is_not_json_is_refused(value: object) -> None:
    with pytest.raises(RecordError, match="body"):
        canonical({"value": value})


texts = st.text(st.characters(exclude_categories=["Cs"]))
plain = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(1 << 53) + 1, (1 << 53) - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | texts,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(texts, inner, max_size=4),
    max_leaves=12,
)


@settings(max_examples=60)
@given(st.dictionaries(texts, plain, max_size=5))
def test_canonical_bytes_agree_with_a_second_implementation(body: dict[str, object]) -> None:
    # Second opinion: the independent PyPI package jcs.
    assert canonical(body) == jcs.canonicalize(body)


def test_ed25519_rfc_8032_test_1() -> None:
    secret = bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")
    key = SigningKey(Ed25519PrivateKey.from_private_bytes(secret))
    assert key.public.hex() == "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"
    signature = bytes.fromhex(
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e06522490155"
        "5fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"
    )
    assert key.sign(b"") == signature
    assert Verifier(key.public).holds(signature, b"")
    assert not Verifier(key.public).holds(signature, b"x")
    assert not Verifier(key.public).holds(signature[:-1], b"")
