"""An ICC profile of Display P3, built byte by byte after ICC.1:2022 (version 4, three curves)."""

from __future__ import annotations

import struct
from types import ModuleType

import numpy as np

D50_XYZ = (0.9642, 1.0, 0.8249)
"""White of the profile connection space, ICC.1:2022 clause 6.3.4.3."""


def display_p3_profile(colour_science: ModuleType) -> bytes:
    """Display P3: primaries of DCI-P3, white D65, transfer of sRGB (SMPTE EG 432-1:2010).

    The primaries are carried to D50 by Bradford's transform, as ICC.1:2022 annex E asks.
    """
    p3 = colour_science.RGB_COLOURSPACES["Display P3"]
    d65 = colour_science.xy_to_XYZ(p3.whitepoint)
    adapt = colour_science.adaptation.matrix_chromatic_adaptation_VonKries(
        d65, np.array(D50_XYZ), transform="Bradford"
    )
    columns = (adapt @ p3.matrix_RGB_to_XYZ).T
    curve = b"para" + bytes(4) + struct.pack(">HH", 3, 0)
    curve += b"".join(_fixed(v) for v in (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045))
    tags = {b"desc": _text("Display P3"), b"cprt": _text("none"), b"wtpt": _xyz(D50_XYZ)}
    tags |= {name: _xyz(c) for name, c in zip((b"rXYZ", b"gXYZ", b"bXYZ"), columns, strict=True)}
    tags |= dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), curve)
    return _profile(tags)


def _profile(tags: dict[bytes, bytes]) -> bytes:
    place = 128 + 4 + 12 * len(tags)
    table, body = struct.pack(">I", len(tags)), b""
    for name, data in tags.items():
        table += name + struct.pack(">II", place + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    whole = struct.pack(">I", place + len(body)) + bytes(4) + b"\x04\x40\x00\x00" + b"mntrRGB XYZ "
    whole += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + bytes(28)
    whole += b"".join(_fixed(v) for v in D50_XYZ)
    return whole.ljust(128, b"\0") + table + body


def _fixed(value: float) -> bytes:
    return struct.pack(">i", round(float(value) * 65536))


def _xyz(values: object) -> bytes:
    return b"XYZ " + bytes(4) + b"".join(_fixed(v) for v in np.asarray(values, float))


def _text(words: str) -> bytes:
    return (
        b"mluc" + bytes(4) + struct.pack(">II", 1, 12) + b"enUS"
        + struct.pack(">II", 2 * len(words), 28) + words.encode("utf-16-be")
    )  # fmt: skip
