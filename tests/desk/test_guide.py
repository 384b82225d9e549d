"""The guide names only commands, options, files and pictures that there are.

``python -m desk.guide.make`` runs its commands for real; that is too slow for every change.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from desk.guide.make import commands
from tests.desk.test_cli import COMMANDS, ROOT

GUIDE = ROOT / "desk" / "guide"
PAGES = sorted(GUIDE.glob("*.md"))


def test_the_guide_uses_commands_as_they_are() -> None:
    typed = list(commands((GUIDE / "first-table.md").read_text("utf-8")))

    assert len(typed) >= 6
    for words in typed:
        name = " ".join(words[:2]) if " ".join(words[:2]) in COMMANDS else words[0]
        known = {option for parameter in COMMANDS[name].params for option in parameter.opts}
        used = {word for word in words if word.startswith("--")}
        assert used <= known, f"{name}: {used - known}"
        photos = [word.partition("=")[2] or word for word in words if word.endswith(".jpg")]
        assert all(Path(photo).exists() for photo in photos)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_what_a_page_links_to_is_there(page: Path) -> None:
    text = page.read_text("utf-8")
    for link in re.findall(r"\]\(([^)]+)\)", text):
        assert (page.parent / link).exists(), link
    for bench in re.findall(r"tests/bench/\w+\.py", text):
        assert (ROOT / bench).exists(), bench
    assert f"desk/guide/{page.name}" in (ROOT / "README.md").read_text("utf-8")
