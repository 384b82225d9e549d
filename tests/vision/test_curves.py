"""The risk-coverage curve of the accuracy bench, against counting threshold by threshold."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.bench.curves import Judged, draw_curves, risk_coverage


@pytest.mark.parametrize("seed", range(5))
def test_a_curve_is_what_counting_at_every_threshold_gives(seed: int) -> None:
    rng = np.random.default_rng(seed)
    sure = rng.integers(0, 8, 30).astype(float)  # with many ties
    sure[rng.random(30) < 0.2] = -np.inf
    wrong = rng.random(30) < 0.3
    counted = [
        (np.mean(sure >= t), np.mean((sure >= t) & wrong)) for t in sorted(set(sure), reverse=True)
    ]

    np.testing.assert_allclose(np.column_stack(risk_coverage(sure, wrong)), counted)


def test_the_curves_are_drawn_into_a_picture(tmp_path: Path) -> None:
    file = tmp_path / "curves.png"
    judged = Judged([9.0, 3.0, 8.0, 1.0], [False, True, False, True], [True, False, True, False], 2)
    draw_curves({"same-light": judged}, file)
    pixels = np.asarray(Image.open(file).convert("RGB"))

    assert judged.operating_point() == (0.5, 0.0)
    assert len(np.unique(pixels.reshape(-1, 3), axis=0)) > 20
