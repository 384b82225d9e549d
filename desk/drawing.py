"""A picture as a short list of shapes, written as SVG or PNG. Units are px, y down."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

from desk.durable import write_whole
from scoring.errors import TallyglassError
from scoring.types import Point

if TYPE_CHECKING:
    from PIL import ImageDraw

INK = "#22262b"
PAPER = "#ffffff"
FAINT = "#c9ced6"
SVG_FONT = "system-ui, 'DejaVu Sans', Arial, sans-serif"
PNG_SCALE = 2
"""Pixels per px of the drawing, so that small letters stay crisp in print."""


@dataclass(frozen=True)
class Outline:
    """A closed polygon; ``fill`` and ``stroke`` are ``#rrggbb`` or "" for none."""

    points: tuple[Point, ...]
    fill: str = ""
    stroke: str = INK
    width: float = 1.0


@dataclass(frozen=True)
class Words:
    """One line of text; ``at`` is its middle, or its left end where ``left`` is true."""

    at: Point
    text: str
    size: float = 12.0
    ink: str = INK
    left: bool = False


@dataclass(frozen=True)
class Drawing:
    """Shapes from back to front on white paper of ``size`` (width, height)."""

    size: Point
    shapes: tuple[Outline | Words, ...]


class DrawingFormatError(TallyglassError):
    """A picture is asked for in a format that is not written."""

    def __init__(self, path: Path) -> None:
        self.path = path
        super().__init__(f"{path}: pictures are written as .svg or .png; end the name with one.")


def save_drawing(drawing: Drawing, path: Path) -> None:
    """Write a drawing in the format that the file's name ends with."""
    suffix = path.suffix.lower()
    if suffix == ".svg":
        write_whole(path, to_svg(drawing).encode())
    elif suffix == ".png":
        write_whole(path, to_png(drawing))
    else:
        raise DrawingFormatError(path)


def ink_on(fill: str) -> str:
    """Dark or white ink, whichever contrasts more with a fill (WCAG 2.2, relative luminance)."""
    linear = [_linear(int(fill[i : i + 2], 16) / 255) for i in (1, 3, 5)]
    luminance = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return INK if luminance > 0.22 else PAPER  # 0.22: where both contrast alike


def box(left: float, top: float, width: float, height: float) -> tuple[Point, ...]:
    """Corners of an upright rectangle."""
    right, bottom = left + width, top + height
    return ((left, top), (right, top), (right, bottom), (left, bottom))


def placed(points: Iterable[Point], scale: float, origin: Point) -> tuple[Point, ...]:
    """Points scaled about (0, 0), then moved so that (0, 0) lies at ``origin``."""
    return tuple((origin[0] + scale * x, origin[1] + scale * y) for x, y in points)


def to_svg(drawing: Drawing) -> str:
    """The drawing as a self-contained SVG file."""
    width, height = drawing.size
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" '
        f'width="{width:g}" height="{height:g}" font-family="{SVG_FONT}">'
    )
    paper = _svg(Outline(box(0, 0, width, height), fill=PAPER, stroke=""))
    return "\n".join([head, paper, *map(_svg, drawing.shapes), "</svg>\n"])


def _svg(shape: Outline | Words) -> str:
    if isinstance(shape, Words):
        x, y = shape.at
        anchor = "start" if shape.left else "middle"
        return (
            f'<text x="{x:.1f}" y="{y:.1f}" font-size="{shape.size:g}" fill="{shape.ink}" '
            f'text-anchor="{anchor}" dominant-baseline="central">{escape(shape.text)}</text>'
        )
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in shape.points)
    return (
        f'<polygon points="{points}" fill="{shape.fill or "none"}" '
        f'stroke="{shape.stroke or "none"}" stroke-width="{shape.width:g}"/>'
    )


def to_png(drawing: Drawing) -> bytes:
    """The drawing as a PNG file, smoothed."""
    import io

    from PIL import Image, ImageDraw

    width, height = (round(PNG_SCALE * side) for side in drawing.size)
    image = Image.new("RGB", (2 * width, 2 * height), PAPER)
    draw = ImageDraw.Draw(image)
    for shape in drawing.shapes:
        _paint(draw, shape, 2 * PNG_SCALE)
    out = io.BytesIO()
    image.resize((width, height), Image.Resampling.BOX).save(out, "PNG", optimize=True)
    return out.getvalue()


def _paint(draw: ImageDraw.ImageDraw, shape: Outline | Words, scale: float) -> None:
    from PIL import ImageFont

    if isinstance(shape, Words):
        font = ImageFont.load_default(scale * shape.size)
        spot = placed([shape.at], scale, (0, 0))[0]
        draw.text(spot, shape.text, fill=shape.ink, font=font, anchor="lm" if shape.left else "mm")
        return
    points = list(placed(shape.points, scale, (0, 0)))
    if shape.fill:
        draw.polygon(points, fill=shape.fill)
    if shape.stroke:
        draw.line([*points, points[0]], fill=shape.stroke, width=round(scale * shape.width))


def _linear(value: float) -> float:
    return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4
