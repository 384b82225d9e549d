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
from pathlib import Path

from PIL import Image

from desk.demo import PRACTICE, SHEET
from desk.drawing import save_drawing
from desk.printing.sheets import spread_layout
from desk.sheet_picture import draw_sheet
from desk.web.games import layout_drawing
from scoring.sheet import load_sheet
from scoring.types import Grid

HERE = Path(__file__).parent
WIDTH = 520
COLOURS = 64
"""Of a picture in the guide: it is small enough to be kept with the text."""


def main() -> None:
    """Run the guide, then make the pictures."""
    with tempfile.TemporaryDirectory(prefix="tallyglass-guide-") as name:
        folder = Path(name)
        for words in commands((HERE / "first-table.md").read_text("utf-8")):
            print("tallyglass", *words[:2], "...")
            subprocess.run([sys.executable, "-m", "desk.cli", *words], cwd=folder, check=True)
        small(folder / "seen.png", HERE / "seen.png")
        small(folder / "evening" / "isla-read.png", HERE / "read.png")
        sheet = load_sheet(SHEET)
        save_drawing(draw_sheet(sheet), folder / "sheet.png")
        small(folder / "sheet.png", HERE / "sheet.png")
        save_drawing(layout_drawing(sheet, Grid(spread_layout(sheet))), folder / "layout.png")
        small(folder / "layout.png", HERE / "layout.png")


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
