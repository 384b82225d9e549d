"""Fuzz a way in for minutes, guided by which lines of our rooms an input reaches.

    python tests/bench/fuzz.py photo|sheet|card|grid|claims|drawing|table|archive|api
        [--seconds 300] [--found FOLDER]

Needs atheris (`pip install atheris`), which is no part of the locked environment: it has wheels for
few Pythons. An input that ends in anything but a TallyglassError or an answer below 500, takes
longer than 20 s or more than 3 GB is written to the folder, and ends the run with a traceback. The
suite tries the same targets for some seconds (`tests/test_fuzz.py`).
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

try:
    import atheris
except ModuleNotFoundError:
    sys.exit("Fuzzing needs atheris, which this environment lacks: pip install atheris")

if not __package__:  # run as a file: its folder holds a scoring.py that would hide the room
    sys.path[0] = str(Path(__file__).resolve().parents[2])

with atheris.instrument_imports(include=["scoring", "vision", "calibrate", "desk"]):
    from tests.fuzz_targets import TARGETS

SLOW_S = 20
MEMORY_MB = 3000


def main() -> None:
    """Fuzz until the time is over; libFuzzer ends the process itself."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("target", choices=TARGETS)
    parser.add_argument("--seconds", type=int, default=300)
    parser.add_argument("--found", type=Path, default=Path("fuzz-found"))
    given = parser.parse_args()
    given.found.mkdir(parents=True, exist_ok=True)
    folder = Path(tempfile.mkdtemp(prefix="tallyglass-fuzz-"))
    target = TARGETS[given.target](folder)
    seeds = folder / "seeds"
    seeds.mkdir()
    for number, seed in enumerate(target.seeds):
        (seeds / f"{number:03d}").write_bytes(seed)
    longest = 2 * max(map(len, target.seeds))
    words = [
        f"-max_total_time={given.seconds}",
        f"-timeout={SLOW_S}",
        f"-rss_limit_mb={MEMORY_MB}",
        f"-max_len={longest}",
        f"-artifact_prefix={given.found}/{given.target}-",
        "-print_final_stats=1",
    ]
    atheris.Setup([sys.argv[0], *words, str(seeds)], target.try_it)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
