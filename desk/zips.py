"""What is looked at before any part of a stranger's ZIP is unpacked."""

from __future__ import annotations

import zipfile

from scoring.limits import TIGHTEST_PACKING

OUR_PACKING = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
"""Python unpacks other kinds whole, however little the part says that it holds."""


def is_packed_like_ours(part: zipfile.ZipInfo) -> bool:
    """Whether a part is packed in a way, and as loosely, as our own files are."""
    loose = part.file_size <= max(1_000_000, TIGHTEST_PACKING * part.compress_size)
    return loose and part.compress_type in OUR_PACKING
