"""Picture files made for the tests."""

from __future__ import annotations

import io

import cv2
import numpy as np
import pillow_heif
from PIL import Image

pillow_heif.register_heif_opener()


def scene(width: int = 480, height: int = 360) -> Image.Image:
    """Soft blots of colour, nowhere alike."""
    blots = np.random.default_rng(0).integers(0, 256, (9, 12, 3)).astype(np.uint8)
    return Image.fromarray(cv2.resize(blots, (width, height), interpolation=cv2.INTER_CUBIC))


def file_of(image: Image.Image, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()
