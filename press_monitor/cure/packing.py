"""Arrays as JSON text, bit for bit."""

from __future__ import annotations

import base64
import struct
from collections.abc import Sequence

import numpy as np

from press_monitor.cure.kinetics import Array

__all__ = ["packed", "packed_list", "unpacked"]


def packed(array: Array) -> str:
    """Base64 of little-endian float64."""
    return base64.b64encode(np.ascontiguousarray(array, dtype="<f8").tobytes()).decode("ascii")


def packed_list(values: Sequence[float]) -> str:
    """The same of plain floats."""
    return base64.b64encode(struct.pack(f"<{len(values)}d", *values)).decode("ascii")


def unpacked(text: str, shape: tuple[int, ...]) -> Array:
    """The array back. Raises ValueError where it is not of this shape."""
    return np.frombuffer(base64.b64decode(text), dtype="<f8").astype(np.float64).reshape(shape)
