"""Take personal data out of a photo file without touching its pixels.

Location, camera serials, owner, times, comments and hidden second pictures go; the way up
(orientation) and the colour profile stay, because without them the photo would read differently.
What stays is listed and everything else is dropped, so that an unknown block is never kept.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator

from scoring.errors import TallyglassError

JPEG_START = b"\xff\xd8"
JPEG_END = b"\xff\xd9"
PNG_START = b"\x89PNG\r\n\x1a\n"
HEIC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"mif1", b"msf1"}
PNG_KEPT = {b"iCCP", b"sRGB", b"gAMA", b"cHRM", b"cICP", b"sBIT", b"tRNS"}
WEBP_KEPT = {b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ICCP"}
ORIENTATION_TAG = 0x0112
REENCODE_QUALITY = 95
"""Of the JPEG that stands in for a HEIC whose metadata cannot be blanked in place."""


class PhotoFormatError(TallyglassError):
    """Bytes that are none of the four photo formats, so that nothing can be taken out of them."""

    def __init__(self) -> None:
        super().__init__("This is not a JPEG, PNG, WebP or HEIC photo, so it cannot be archived.")


def strip_metadata(data: bytes) -> tuple[bytes, str]:
    """The photo without personal data, and the file suffix that fits it (``.jpg``, ``.png``...)."""
    suffix = suffix_of(data)
    if suffix == ".heic":
        return strip_heic(data)
    return {".jpg": strip_jpeg, ".png": strip_png, ".webp": strip_webp}[suffix](data), suffix


def is_stripped(data: bytes) -> bool:
    """Whether nothing is left to take out of a photo."""
    if suffix_of(data) == ".heic":
        return all(block == blank(block) for block in heic_blocks(data))
    return strip_metadata(data)[0] == data


def suffix_of(data: bytes) -> str:
    """The file suffix of a photo's format. Raises PhotoFormatError for anything else."""
    if data.startswith(JPEG_START):
        return ".jpg"
    if data.startswith(PNG_START):
        return ".png"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return ".webp"
    if data[4:8] == b"ftyp" and data[8:12] in HEIC_BRANDS:
        return ".heic"
    raise PhotoFormatError


def orientation_of(data: bytes) -> int:
    """EXIF orientation, 1 to 8; 1 (upright) where the file says nothing usable."""
    from PIL.Image import DecompressionBombError

    from vision.decode import opened, way_up_of

    try:
        with opened(data) as image:
            return way_up_of(image)
    except (OSError, SyntaxError, ValueError, DecompressionBombError) as error:
        raise PhotoFormatError from error


def orientation_tiff(orientation: int) -> bytes:
    """The smallest EXIF block (TIFF 6.0, big-endian) that holds nothing but the orientation."""
    entry = struct.pack(">HHIHH", ORIENTATION_TAG, 3, 1, orientation, 0)
    return b"MM\0*" + struct.pack(">IH", 8, 1) + entry + b"\0\0\0\0"


# JPEG ------------------------------------------------------------------------------------------


def strip_jpeg(data: bytes) -> bytes:
    """Keep JFIF, ICC, Adobe, tables and scans up to the first end; write orientation anew."""
    orientation = orientation_of(data)
    kept = [JPEG_START]
    if orientation != 1:
        exif = b"Exif\0\0" + orientation_tiff(orientation)
        kept.append(b"\xff\xe1" + struct.pack(">H", len(exif) + 2) + exif)
    kept += [part for marker, part in jpeg_parts(data) if jpeg_keeps(marker, part)]
    return b"".join([*kept, JPEG_END])


def jpeg_keeps(marker: int, segment: bytes) -> bool:
    """Whether a segment is needed to show the pixels as they are."""
    payload = segment[4:]
    if marker == 0xE0:
        return payload.startswith(b"JFIF\0") and len(payload) == 14  # longer: has a thumbnail
    if marker == 0xE2:
        return payload.startswith(b"ICC_PROFILE\0")
    if marker == 0xEE:
        return payload.startswith(b"Adobe")
    return not (0xE0 <= marker <= 0xEF or marker == 0xFE)


def jpeg_parts(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Every segment of the first picture in the file; a scan comes with its coded data."""
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == 0xD9:
            return
        if marker == 0xFF:  # fill byte
            at += 1
            continue
        end = at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        if marker == 0xDA:
            end = jpeg_scan_end(data, end)
        yield marker, data[at:end]
        at = end


def jpeg_scan_end(data: bytes, at: int) -> int:
    """Where coded data ends: the next 0xFF that is neither stuffed (00) nor a restart (D0-D7)."""
    while (at := data.find(b"\xff", at)) >= 0:
        follower = data[at + 1 : at + 2]
        if follower and follower != b"\0" and not 0xD0 <= follower[0] <= 0xD7:
            return at
        at += 1
    return len(data)


# PNG -------------------------------------------------------------------------------------------


def strip_png(data: bytes) -> bytes:
    """Keep what draws the pixels and their colour space; orientation gets a chunk of its own."""
    import zlib

    orientation = orientation_of(data)
    kept = [chunk for kind, chunk in png_chunks(data) if kind in PNG_KEPT or kind[:1].isupper()]
    if orientation != 1:
        body = b"eXIf" + orientation_tiff(orientation)
        exif = struct.pack(">I", len(body) - 4) + body + struct.pack(">I", zlib.crc32(body))
        kept.insert(1, exif)
    return PNG_START + b"".join(kept)


def png_chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Every (kind, whole chunk) up to and with IEND."""
    at = len(PNG_START)
    while at + 8 <= len(data):
        kind = data[at + 4 : at + 8]
        end = at + 12 + int.from_bytes(data[at : at + 4], "big")
        yield kind, data[at:end]
        if kind == b"IEND":
            return
        at = end


# WebP ------------------------------------------------------------------------------------------


def strip_webp(data: bytes) -> bytes:
    """Keep pixels, transparency and ICC; the header's flags say what is left."""
    orientation = orientation_of(data)
    chunks = [[kind, body] for kind, body in still(data) if kind in WEBP_KEPT]
    if orientation != 1:
        chunks.append([b"EXIF", orientation_tiff(orientation)])
    for chunk in chunks:
        if chunk[0] == b"VP8X":
            chunk[1] = webp_flags(chunk[1], has_exif=orientation != 1)
    packed = b"WEBP" + b"".join(webp_chunk(kind, body) for kind, body in chunks)
    return b"RIFF" + struct.pack("<I", len(packed)) + packed


def still(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """The chunks of a file with one picture; of an animation those of its first frame.

    Raises PhotoFormatError for one whose first frame does not fill its picture: it is no photo.
    """
    canvas = None
    for kind, body in webp_chunks(data):
        if kind == b"VP8X":
            canvas = body[4:10]
        if kind == b"ANMF":
            if body[:6] != bytes(6) or body[6:12] != canvas:
                raise PhotoFormatError
            yield from webp_chunks(bytes(12) + body[16:])
            return
        yield kind, body


def webp_flags(header: bytes, *, has_exif: bool) -> bytes:
    """The extended header with its EXIF (0x08), XMP (0x04) and animation (0x02) bits put right."""
    flags = header[0] & ~0x0E | (0x08 if has_exif else 0)
    return bytes([flags]) + header[1:]


def webp_chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Every (kind, body) of a RIFF file; bodies are padded to an even length in the file."""
    at = 12
    while at + 8 <= len(data):
        size = int.from_bytes(data[at + 4 : at + 8], "little")
        yield data[at : at + 4], data[at + 8 : at + 8 + size]
        at += 8 + size + size % 2


def webp_chunk(kind: bytes, body: bytes) -> bytes:
    """One RIFF chunk."""
    return kind + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)


# HEIC ------------------------------------------------------------------------------------------


def strip_heic(data: bytes) -> tuple[bytes, str]:
    """Blank the metadata where it lies; where that cannot be proven, a JPEG of the same pixels."""
    blocks = heic_blocks(data)
    clean = data
    for block in blocks:
        clean = clean.replace(block, blank(block))
    proven = all(data.count(block) == 1 for block in blocks)
    if proven and set(heic_blocks(clean)) <= {blank(block) for block in blocks}:
        return clean, ".heic"
    return reencode(data), ".jpg"


def blank(block: bytes) -> bytes:
    """As many bytes that say nothing: an upright EXIF in place of an EXIF, else zeros."""
    is_exif = block[:2] in (b"II", b"MM") and len(block) >= len(orientation_tiff(1))
    return (orientation_tiff(1) if is_exif else b"").ljust(len(block), b"\0")


def heic_blocks(data: bytes) -> list[bytes]:
    """The EXIF, XMP and other metadata of every picture in a HEIC file.

    The way up is no part of them: HEIC keeps it in the picture's own transforms.
    """
    import pillow_heif

    blocks: list[bytes] = []
    for picture in pillow_heif.open_heif(data, convert_hdr_to_8bit=False):
        exif = picture.info.get("exif") or b""
        blocks += [exif.removeprefix(b"Exif\0\0"), picture.info.get("xmp") or b""]
        blocks += [block["data"] for block in picture.info.get("metadata", [])]
    return [block for block in dict.fromkeys(blocks) if block]


def reencode(data: bytes) -> bytes:
    """The picture as an upright JPEG with its colour profile and nothing else."""
    import pillow_heif
    from PIL import Image, ImageOps

    pillow_heif.register_heif_opener()
    with Image.open(io.BytesIO(data)) as image:
        profile = image.info.get("icc_profile")
        upright = ImageOps.exif_transpose(image).convert("RGB")
    out = io.BytesIO()
    upright.save(out, "JPEG", quality=REENCODE_QUALITY, subsampling=0, icc_profile=profile)
    return out.getvalue()
