"""Build the wheel, install it into an empty environment, and do there what a person does.

    python .ci/wheel_check.py FOLDER

Every file of the rooms that git knows must be in the wheel; its dependencies are those that it
names itself, at the locked versions. Then, far from the source: help, a sheet checked and printed,
the whole demo, and the desk's page served.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import urllib.request
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
ROOMS = ("scoring", "vision", "calibrate", "samples", "desk")


def main(folder: Path) -> None:
    """Do all of it; ends with an error where something fails."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    wheel = built(folder)
    check_files(wheel)
    python = installed(folder, wheel)
    program = python.with_name("tallyglass")
    run = [str(program)]
    away = folder / "away"
    away.mkdir()
    call([*run, "--help"], away)
    where = [str(python), "-c", "import samples; print(samples.__path__[0])"]
    sheets = Path(call(where, away).strip()) / "sheets"
    if ROOT in sheets.parents and folder not in sheets.parents:
        sys.exit(f"{sheets}: the source is used, not the wheel.")
    call([*run, "sheet", "check", str(sheets / "penmarrow.toml"), "--draw", "drawn.svg"], away)
    call([*run, "print", str(sheets / "penmarrow.toml")], away)
    call([*run, "demo", "--out", "demo"], away)
    call([*run, "archive", "verify", "--archive", "demo/archive"], away)
    check_served(run, away)
    print(f"{wheel.name}: built, installed, run.")


def call(command: list[str], cwd: Path) -> str:
    """What a command prints; its complaints end this program."""
    done = subprocess.run(
        command, cwd=cwd, env=bare_environment(), capture_output=True, text=True, timeout=600
    )
    if done.returncode:
        sys.exit(f"{' '.join(command)}: code {done.returncode}\n{done.stdout}\n{done.stderr}")
    return done.stdout


def bare_environment() -> dict[str, str]:
    """Nothing that would let Python find the source."""
    return {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}


def built(folder: Path) -> Path:
    """The wheel, by the locked setuptools of the environment that runs this.

    From a copy of what git knows: a build leaves files behind that the next one would pack.
    """
    for name in call(["git", "ls-files"], ROOT).splitlines():
        if (ROOT / name).exists():
            (folder / "source" / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, folder / "source" / name)
    pip = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--no-build-isolation"]
    call([*pip, "--wheel-dir", str(folder), str(folder / "source")], folder)
    (wheel,) = folder.glob("*.whl")
    return wheel


def check_files(wheel: Path) -> None:
    """Every file of a room that git knows must be in the wheel."""
    known = call(["git", "ls-files", *ROOMS], ROOT).splitlines()
    with zipfile.ZipFile(wheel) as packed:
        lacking = sorted(set(known) - set(packed.namelist()))
    if lacking:
        sys.exit(f"{wheel.name} lacks {len(lacking)} files: {', '.join(lacking[:9])}")


def installed(folder: Path, wheel: Path) -> Path:
    """Python of an empty environment with the wheel and what it names, at the locked versions."""
    place = folder / "venv"
    call([sys.executable, "-m", "venv", str(place)], folder)
    python = place / "bin" / "python"
    locked = re.sub(r" \\\n +--hash=\S+", "", (ROOT / "requirements.txt").read_text("utf-8"))
    (folder / "locked.txt").write_text(locked, "utf-8")
    pip = [str(python), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    call([*pip, "--constraint", str(folder / "locked.txt"), str(wheel)], folder)
    return python


def check_served(run: list[str], away: Path) -> None:
    """The desk's page and its program files come."""
    command = [*run, "serve", "--port", "0", "--data", "data", "--archive", "kept"]
    desk = subprocess.Popen(
        command, cwd=away, env=bare_environment(), stdout=subprocess.PIPE, text=True
    )
    try:
        assert desk.stdout is not None
        address = None
        for line in desk.stdout:
            if address := re.search(r"http://[\d.]+:\d+", line):
                break
        if address is None:
            sys.exit("the desk did not say where it is.")
        for path in ("/", "/static/desk.js", "/api/desk"):
            with urllib.request.urlopen(address[0] + path, timeout=30) as answer:
                if answer.status != 200 or not answer.read():
                    sys.exit(f"{path}: {answer.status}")
    finally:
        desk.terminate()
        desk.wait(30)


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve())
