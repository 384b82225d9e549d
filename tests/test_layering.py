"""Which room may import which, proven from the imports themselves."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
ROOMS = ("vision", "calibrate", "scoring", "samples", "desk")

MAY_IMPORT = {
    "scoring": set(),
    "vision": {"scoring", "calibrate.types"},
    "calibrate": {"scoring", "vision"},
    "samples": {"scoring"},
    "desk": {"scoring", "vision", "calibrate", "samples"},
}
"""Rooms (or single modules of a room) that each room may import besides itself."""

SCORING_MAY_IMPORT = {
    "pydantic": {"sheet.py", "sheet_form.py"},
    "scipy": {"choose.py"},
    "numpy": {
        "bounds.py",
        "choose.py",
        "doubted.py",
        "terms.py",
        "card_terms.py",
        "knots.py",
        "standing.py",
        "questions.py",
    },
}
"""Packages beyond the standard library that scoring may import, and the only modules that may."""

EFFECTS = {"os", "io", "time", "datetime", "random", "socket", "subprocess", "urllib", "sqlite3"}
"""Modules by which a pure room would reach the world."""


def modules(room: str) -> list[Path]:
    return sorted((ROOT / room).rglob("*.py"))


def imports(path: Path) -> set[str]:
    """Full names of all that a module imports, wherever in the module it does so."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path} imports relatively"
            names.update(f"{node.module}.{alias.name}" for alias in node.names)
    return names


def is_within(name: str, allowed: set[str]) -> bool:
    return any(name == one or name.startswith(f"{one}.") for one in allowed)


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_imports_only_the_rooms_it_may(room):
    allowed = MAY_IMPORT[room] | {room}
    broken = {
        f"{path.relative_to(ROOT)} imports {name}"
        for path in modules(room)
        for name in imports(path)
        if name.split(".")[0] in ROOMS and not is_within(name, allowed)
    }

    assert modules(room), f"there is no room {room}"
    assert broken == set()


@pytest.mark.parametrize("room", [room for room in ROOMS if room != "desk"])
def test_nothing_imports_the_desk(room):
    assert not any(is_within(name, {"desk"}) for path in modules(room) for name in imports(path))


@pytest.mark.parametrize("room", ["vision", "calibrate"])
def test_what_reads_photos_shares_no_code_with_what_makes_them(room):
    assert not any(is_within(name, {"samples"}) for path in modules(room) for name in imports(path))
    samples = {name for path in modules("samples") for name in imports(path)}
    assert not any(is_within(name, {room}) for name in samples)


def test_scoring_imports_the_standard_library_and_little_else():
    broken = set()
    for path in modules("scoring"):
        for name in imports(path):
            package = name.split(".")[0]
            known = package in sys.stdlib_module_names or package == "scoring"
            if not known and path.name not in SCORING_MAY_IMPORT.get(package, set()):
                broken.add(f"{path.name} imports {name}")

    assert broken == set()


def test_scoring_has_no_clock_no_chance_and_no_network():
    reaching = {
        f"{path.name} imports {name}"
        for path in modules("scoring")
        for name in imports(path)
        if name.split(".")[0] in EFFECTS
    }

    assert reaching == set()


@pytest.mark.parametrize("word", ["eval", "exec", "compile", "__import__"])
def test_scoring_never_runs_code_from_a_sheet(word):
    calls = [
        node
        for path in modules("scoring")
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == word
    ]

    assert calls == []


def test_scoring_is_importable_alone():
    """A fresh interpreter then holds no other room, no image library and not even scipy."""
    code = (
        "import sys, scoring.tally, scoring.doubts, scoring.lifting, scoring.grid\n"
        "print([m for m in sys.modules if m.split('.')[0] in "
        "('vision', 'calibrate', 'samples', 'desk', 'cv2', 'skimage', 'sklearn', 'PIL', 'scipy')])"
    )
    run = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )

    assert run.stdout.strip() == "[]"
