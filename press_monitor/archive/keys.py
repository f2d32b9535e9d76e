"""The key that signs the ledger: Ed25519 (RFC 8032), in the settings folder, never in the archive.

Files are PEM, as any OpenSSL reads them: the private one PKCS #8, private to its user; ``ledger.pub`` beside it is
for copying off this computer, so that a verifier elsewhere can pin it.
"""

from __future__ import annotations

import hashlib
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from press_monitor.archive.durable import make_folder, sync_folder
from press_monitor.archive.types import ArchiveError

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

__all__ = ["SigningKey", "Verifier", "create_key", "fingerprint", "load_key", "public_file", "read_public_key"]


def fingerprint(public: bytes) -> str:
    """SHA-256 of the 32 public bytes, 64 hex digits."""
    return hashlib.sha256(public).hexdigest()


def public_file(path: Path) -> Path:
    """Where the public half of the key at `path` lies."""
    return path.with_suffix(".pub")


class SigningKey:
    """A private key in memory."""

    def __init__(self, private: Ed25519PrivateKey) -> None:
        self._private = private
        self.public = private.public_key().public_bytes_raw()
        """32 bytes."""

    def sign(self, message: bytes) -> bytes:
        """64 bytes."""
        return self._private.sign(message)


def load_key(path: Path) -> SigningKey:
    """Read a private key. Raises `ArchiveError` naming the file."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    try:
        private = load_pem_private_key(path.read_bytes(), None)
    except OSError as e:
        raise ArchiveError(f"{path}: the signing key cannot be read: {e.strerror or e}") from e
    except (ValueError, TypeError) as e:
        raise ArchiveError(f"{path}: is not an Ed25519 private key") from e
    except Exception as e:  # cryptography's UnsupportedAlgorithm derives from Exception alone
        raise ArchiveError(f"{path}: is not an Ed25519 private key") from e
    if not isinstance(private, Ed25519PrivateKey):
        raise ArchiveError(f"{path}: is not an Ed25519 private key")
    return SigningKey(private)


def _write_private(path: Path, data: bytes, mode: int) -> None:
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), mode)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _place(fresh: Path, path: Path) -> None:
    """Give a whole file its name unless that is taken (FileExistsError); `os.replace` would take its place."""
    if sys.platform == "win32":
        os.rename(fresh, path)
        return
    try:
        os.link(fresh, path)
    except FileExistsError:
        raise
    except OSError:  # a file system without hard links: nearly as good
        _write_private(path, fresh.read_bytes(), 0o600)


def create_key(path: Path) -> SigningKey:
    """Make a key where there is none yet, whole or not at all; if another process was first, its key is taken.

    Mode 0600 from the first byte on POSIX; on Windows the user's profile folder keeps others out.
    Raises `ArchiveError` naming the file.
    """
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat, PublicFormat

    private = Ed25519PrivateKey.generate()
    secret = private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    public = private.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)
    fresh = path.with_name(f"{path.name}.{os.getpid()}")
    try:
        make_folder(path.parent)
        fresh.unlink(missing_ok=True)
        _write_private(fresh, secret, 0o600)
        try:
            _place(fresh, path)
        except FileExistsError:
            return load_key(path)
        finally:
            fresh.unlink(missing_ok=True)
        public_file(path).unlink(missing_ok=True)
        _write_private(public_file(path), public, 0o644)
        sync_folder(path.parent)
    except OSError as e:
        raise ArchiveError(f"{path}: the signing key cannot be made: {e.strerror or e}") from e
    return SigningKey(private)


def read_public_key(path: Path) -> bytes:
    """The 32 public bytes from a PEM file, public or private. Raises `ArchiveError` naming the file."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    from cryptography.hazmat.primitives.serialization import load_pem_public_key

    try:
        data = path.read_bytes()
    except OSError as e:
        raise ArchiveError(f"{path}: cannot be read: {e.strerror or e}") from e
    if b"PRIVATE KEY" in data:
        return load_key(path).public
    try:
        public = load_pem_public_key(data)
    except Exception as e:
        raise ArchiveError(f"{path}: is not an Ed25519 public key") from e
    if not isinstance(public, Ed25519PublicKey):
        raise ArchiveError(f"{path}: is not an Ed25519 public key")
    return public.public_bytes_raw()


class Verifier:
    """Checks signatures by one public key. Raises `ArchiveError` for bytes that are no key."""

    def __init__(self, public: bytes) -> None:
        from cryptography.exceptions import InvalidSignature
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

        try:
            self._key = Ed25519PublicKey.from_public_bytes(public)
        except ValueError as e:
            raise ArchiveError("is not an Ed25519 public key") from e
        self._invalid = InvalidSignature

    def holds(self, signature: bytes, message: bytes) -> bool:
        """Whether `signature` over `message` is by this key."""
        try:
            self._key.verify(signature, message)
        except self._invalid:
            return False
        return True
