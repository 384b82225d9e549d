"""Risk-coverage curves: how many cells are silently wrong if so many are accepted unasked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import matplotlib as mpl
import numpy as np
from numpy.typing import NDArray

mpl.use("Agg")

from matplotlib import pyplot as plt

Array = NDArray[np.float64]


@dataclass
class Judged:
    """Every cell of some photos: how sure it was, whether its likeliest label was wrong; and two
    points: (share accepted, share silently wrong) as the program decides, and of the plain
    classifier, which accepts all.
    """

    sure: list[float] = field(default_factory=list)
    wrong: list[bool] = field(default_factory=list)
    accepted: list[bool] = field(default_factory=list)
    plain_wrong: int = 0

    def operating_point(self) -> tuple[float, float]:
        """(share accepted, share accepted and wrong) of what the program decided."""
        accepted, wrong = np.array(self.accepted), np.array(self.wrong)
        return float(accepted.mean()), float((accepted & wrong).mean())


def risk_coverage(sure: Array, wrong: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Shares of cells accepted, and accepted and wrong, for every threshold, the strictest first.

    Cells that are equally sure are accepted together, so that the order of ties never matters.
    Source: El-Yaniv and Wiener, "On the foundations of noise-free selective classification",
    Journal of Machine Learning Research 11, 2010.
    """
    order = np.argsort(-sure, kind="stable")
    last_of_tie = np.append(sure[order][1:] != sure[order][:-1], True)
    accepted = np.arange(1, len(sure) + 1) / len(sure)
    risk = np.cumsum(wrong[order]) / len(sure)
    return accepted[last_of_tie], risk[last_of_tie]


def draw_curves(judged: Mapping[str, Judged], file: Path) -> None:
    """One curve a split, with the program's own point and the plain classifier's."""
    figure, axes = plt.subplots(figsize=(8, 5), layout="constrained")
    for split, cells in judged.items():
        x, y = risk_coverage(np.array(cells.sure), np.array(cells.wrong))
        (line,) = axes.step(100 * x, 100 * y, where="post", label=split)
        colour = line.get_color()
        here = 100 * np.array(cells.operating_point())
        axes.plot(*here, "o", color=colour, label=f"{split}: as the program decides")
        plain = 100 * cells.plain_wrong / len(cells.wrong)
        axes.plot(100, plain, "x", color=colour, label=f"{split}: plain k-NN, all accepted")
    axes.set_yscale("symlog", linthresh=0.1)
    axes.set_ylim(bottom=0)
    axes.set_xlabel("cells accepted without asking, %")
    axes.set_ylabel("cells silently wrong, % of all")
    axes.grid(alpha=0.3)
    axes.legend(loc="upper left")
    figure.savefig(file, dpi=120)
    plt.close(figure)
