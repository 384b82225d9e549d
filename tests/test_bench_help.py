"""Every bench says what it wants, for what nobody runs breaks unseen: none is part of the suite."""

from __future__ import annotations

import importlib.util
import runpy
import sys
from pathlib import Path

import pytest

BENCHES = sorted(
    path
    for path in (Path(__file__).parent / "bench").glob("*.py")
    if "__main__" in path.read_text("utf-8")
    and (path.name != "fuzz.py" or importlib.util.find_spec("atheris"))
)


@pytest.mark.parametrize("bench", BENCHES, ids=lambda path: path.stem)
def test_a_bench_tells_how_it_is_run(
    bench: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", [str(bench), "--help"])
    monkeypatch.setattr(sys, "path", [str(bench.parent), *sys.path])

    with pytest.raises(SystemExit) as ended:
        runpy.run_path(str(bench), run_name="__main__")

    assert not ended.value.code
    assert capsys.readouterr().out.startswith(f"usage: {bench.name}")
