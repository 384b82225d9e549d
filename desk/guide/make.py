"""Do what the guide says, in a fresh folder, and make its pictures from what came out.

    python -m desk.guide.make

Every command of ``first-table.md`` is run as it stands there; one that fails ends this program.
"""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
from PIL import Image

from desk.colour_naming import colours_in_row
from desk.demo import PRACTICE, SHEET
from desk.drawing import save_drawing
from desk.photo_file import photo_in
from desk.printing.sheets import spread_layout
from desk.sheet_picture import draw_sheet
from desk.web.games import layout_drawing
from samples.cards import piece_paints
from samples.finish import encode
from samples.practice import CAFE, PENMARROW_PRINT
from samples.spread import take_row
from scoring.sheet import load_sheet
from scoring.types import Grid

HERE = Path(__file__).parent
ROW = ("slate", "moss", "plum", "lichen")
WIDTH = 520
COLOURS = 160
"""Of a picture in the guide, which is kept with the text; with fewer, small pieces go grey."""


def main() -> None:
    """Run the guide, then make the pictures."""
    with tempfile.TemporaryDirectory(prefix="tallyglass-guide-") as name:
        folder = Path(name)
        for words in commands((HERE / "first-table.md").read_text("utf-8")):
            print("tallyglass", *words[:2], "...")
            subprocess.run([sys.executable, "-m", "desk.start", *words], cwd=folder, check=True)
        small(folder / "seen.png", HERE / "seen.png")
        small(folder / "evening" / "isla-read.png", HERE / "read.png")
        sheet = load_sheet(SHEET)
        save_drawing(draw_sheet(sheet), folder / "sheet.png")
        small(folder / "sheet.png", HERE / "sheet.png")
        row = colours_in_row(photo_in(row_photo(folder)), sheet)
        (folder / "colours.png").write_bytes(row.picture)
        small(folder / "colours.png", HERE / "colours.png")
        save_drawing(layout_drawing(sheet, Grid(spread_layout(sheet))), folder / "layout.png")
        small(folder / "layout.png", HERE / "layout.png")


def row_photo(folder: Path) -> Path:
    """A photo of one piece of each of four colours in a row on a plain table."""
    sheet = load_sheet(SHEET)
    outline = np.array(sheet.lattice.cells[0].polygon_mm)
    paints = piece_paints(sheet, PENMARROW_PRINT)
    light = replace(CAFE, tabletop="plain", tabletop_seed=1, reach=0.8, tilt_deg=6.0)
    rng = np.random.default_rng(3)
    shot = take_row(outline, sheet.piece_height_mm, paints, ROW, light, rng)
    photo = folder / "row.jpg"
    photo.write_bytes(encode(shot.pixels, light.jpeg_quality))
    return photo


def commands(text: str) -> Iterator[list[str]]:
    """The words of every ``tallyglass`` command in a guide's shell blocks."""
    for block in re.findall(r"```sh\n(.*?)```", text, re.DOTALL):
        for line in block.splitlines():
            if line.startswith("tallyglass "):
                yield shlex.split(line.replace("$photos", str(PRACTICE)))[1:]


def small(picture: Path, out: Path) -> None:
    """A picture as wide as a page, in few colours."""
    with Image.open(picture) as whole:
        height = round(whole.height * WIDTH / whole.width)
        page = whole.convert("RGB").resize((WIDTH, height), Image.Resampling.LANCZOS)
        page.quantize(COLOURS).save(out, optimize=True)
    print(f"{out}: {out.stat().st_size // 1000} kB")


if __name__ == "__main__":
    main()
