"""The command as a person meets it: help, mistakes, and no traceback for either."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest
from typer.core import TyperCommand, TyperGroup
from typer.main import get_command
from typer.testing import CliRunner

from desk.archive import Archive
from desk.cli import app

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")
PENMARROW = ROOT / "samples" / "sheets" / "penmarrow.toml"


def run(*words: str | Path, cwd: Path = ROOT) -> subprocess.CompletedProcess[str]:
    """Run the program in a process of its own, its input at an end."""
    command = [sys.executable, "-c", "from desk.start import main; main()", *map(str, words)]
    return subprocess.run(
        command, cwd=cwd, capture_output=True, text=True, stdin=subprocess.DEVNULL, timeout=120
    )


def commands(group: TyperGroup, before: str = "") -> dict[str, TyperCommand]:
    """Every command by its full name."""
    found: dict[str, TyperCommand] = {}
    for name, command in group.commands.items():
        full = f"{before}{name}"
        found |= (
            commands(command, f"{full} ") if isinstance(command, TyperGroup) else {full: command}
        )
    return found


ROOT_COMMAND = get_command(app)
assert isinstance(ROOT_COMMAND, TyperGroup)
COMMANDS = commands(ROOT_COMMAND)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_and_stands_in_the_readme(name: str) -> None:
    command = COMMANDS[name]

    assert command.help
    assert f"tallyglass {name}" in README
    for parameter in command.params:
        assert getattr(parameter, "help", "")


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_stands_in_the_readme(name: str) -> None:
    for parameter in COMMANDS[name].params:
        for option in parameter.opts:
            assert not option.startswith("--") or option == "--help" or option in README


@pytest.mark.parametrize("group", [[], ["sheet"], ["table"], ["archive"]])
def test_every_command_is_listed_with_a_whole_sentence(group: list[str]) -> None:
    listed = run(*group, "--help").stdout.partition("Commands:")[2]

    assert len(listed.splitlines()) > 3
    assert "..." not in listed


@pytest.mark.parametrize("name", COMMANDS)
def test_what_a_command_wants_is_said_in_words_not_types(name: str) -> None:
    told = CliRunner().invoke(app, [*name.split(), "--help"]).output

    assert "...}" not in told  # "PHOTO..." is said once
    assert "--help" in told
    assert re.findall(r"list\[|<\w+>|\{[a-z]", told) == []


def test_help_starts_at_once() -> None:
    spent = []
    for _ in range(2):
        started = time.perf_counter()
        assert run("--help").returncode == 0
        spent.append(time.perf_counter() - started)

    assert min(spent) < 1.5  # 0.2 s on a quiet machine; NumPy or OpenCV alone would take longer


HEAVY = (
    *("cv2", "numpy", "scipy", "skimage", "sklearn", "PIL", "fastapi", "uvicorn", "jinja2", "rich"),
    *("matplotlib", "joblib", "fsspec", "alembic", "openskill", "svgelements", "fpdf", "segno"),
)
STARTS = {
    "--help": (*HEAVY, "pydantic", "sqlalchemy"),
    "read --help": (*HEAVY, "sqlalchemy"),
    "sheet new --help": (*HEAVY, "sqlalchemy"),
    "archive list --archive none": HEAVY,
    "archive search bell --archive none": HEAVY,
}
"""What a command need not wait for: it would take most of its time."""


@pytest.mark.parametrize("words", STARTS)
def test_a_start_imports_nothing_that_the_command_does_not_need(words: str, tmp_path: Path) -> None:
    Archive(tmp_path / "none")
    script = (
        f"import sys; sys.path.insert(0, {str(ROOT)!r}); sys.argv[1:] = {words.split()!r}\n"
        "from desk.cli import main\n"
        "try: main()\n"
        "finally: print([name for name in sys.modules if '.' not in name], file=sys.stderr)"
    )
    command = [sys.executable, "-c", script]
    shown = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, timeout=60)

    assert shown.returncode == 0, shown.stderr
    imported = ast.literal_eval(shown.stderr.splitlines()[-1])
    assert "typer" in imported
    assert [name for name in STARTS[words] if name in imported] == []


def fails(*words: str | Path, code: int = 2) -> str:
    """The one sentence on stderr of a run that must fail."""
    ended = run(*words)

    assert ended.returncode == code, ended.stderr
    assert "Traceback" not in ended.stderr
    assert len(ended.stderr.strip().splitlines()) == 1
    return ended.stderr.strip()


def test_a_missing_sheet_is_named(tmp_path: Path) -> None:
    assert "none.toml: cannot be read (No such file or directory)" in fails(
        "sheet", tmp_path / "none.toml"
    )


def test_a_sheet_with_an_unknown_colour_is_named(tmp_path: Path) -> None:
    wrong = PENMARROW.read_text("utf-8").replace('colour = "copper"', 'colour = "gold"')
    (tmp_path / "wrong.toml").write_text(wrong, "utf-8")

    assert "gold" in fails("sheet", tmp_path / "wrong.toml")


def test_a_sheet_is_checked_and_drawn(tmp_path: Path) -> None:
    ended = run("sheet", PENMARROW, "--draw", tmp_path / "drawn.svg")

    assert ended.returncode == 0
    assert "The Roof at Penmarrow: the sheet is in order." in ended.stdout
    assert (tmp_path / "drawn.svg").read_text("utf-8").startswith("<svg")


def test_a_picture_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")

    words = fails("sheet", PENMARROW, "--draw", tmp_path / "taken" / "drawn.svg")

    assert "taken" in words


def test_an_archive_that_is_not_there_is_named(tmp_path: Path) -> None:
    assert "does not exist yet" in fails("archive", "list", "--archive", tmp_path / "none")
    assert not (tmp_path / "none").exists()
