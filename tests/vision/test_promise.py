"""Promises against exact enumeration, SciPy's exact test and MAPIE."""

from __future__ import annotations

import math

import numpy as np
import pytest
from mapie.classification import SplitConformalClassifier
from scipy.stats import binomtest
from sklearn.base import BaseEstimator, ClassifierMixin

from vision.promise import (
    Practice,
    covering_margin,
    promise_words,
    risk_controlled,
    upper_bound,
)


def losses_of(seed: int, photos: int, margins: int = 12) -> np.ndarray:
    """Losses (photos, margins) that never grow; most photos have none, as it should be."""
    rng = np.random.default_rng(seed)
    steps = rng.random((photos, margins)) * (rng.random((photos, margins)) < 0.2) / margins
    return steps[:, ::-1].cumsum(axis=1)[:, ::-1]


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("alpha", [0.03, 0.06, 0.1, 0.3])
def test_the_mean_loss_of_the_photo_left_out_is_at_most_alpha(seed: int, alpha: float) -> None:
    """Exact, not by chance: in any bag of n + 1 photos, each of them is as likely the new one."""
    losses = losses_of(seed, 40)
    left_out = []
    for i in range(len(losses)):
        chosen = risk_controlled(np.delete(losses, i, axis=0), alpha)
        left_out.append(0.0 if chosen is None else losses[i, chosen])

    assert np.mean(left_out) <= alpha


@pytest.mark.parametrize(("photos", "alpha"), [(198, 0.005), (199, 0.005), (99, 0.01), (98, 0.01)])
def test_a_promise_needs_enough_photos_however_good_they_are(photos: int, alpha: float) -> None:
    chosen = risk_controlled(np.zeros((photos, 3)), alpha)

    assert chosen == (0 if photos >= 1 / alpha - 1 else None)


def test_the_loosest_margin_that_will_do_is_chosen() -> None:
    losses = np.zeros((9, 4))
    losses[0] = [1.0, 0.5, 0.25, 0.0]

    assert risk_controlled(losses, 0.2) == 0
    assert risk_controlled(losses, 0.15) == 1
    assert risk_controlled(losses, 0.125) == 2
    assert risk_controlled(losses, 0.1) == 3
    assert risk_controlled(losses, 0.099) is None


@pytest.mark.parametrize("losses", [[[0.0, 0.1]], [[1.2, 1.0]], [[0.0, -0.1]]])
def test_losses_that_the_theorem_does_not_cover_are_refused(losses: list[list[float]]) -> None:
    with pytest.raises(ValueError, match="never grow"):
        risk_controlled(np.array(losses), 0.5)


@pytest.mark.parametrize(("errors", "n"), [(0, 299), (1, 473), (2, 1000), (5, 1000), (7, 7)])
@pytest.mark.parametrize("confidence", [0.9, 0.95])
def test_the_bound_is_that_of_scipys_exact_test(errors: int, n: int, confidence: float) -> None:
    """One-sided 95 % is the upper end of a two-sided 90 % interval."""
    interval = binomtest(errors, n).proportion_ci(2 * confidence - 1, method="exact")

    assert upper_bound(errors, n, confidence) == pytest.approx(interval.high, abs=1e-9)


def test_the_bound_fails_as_often_as_it_may_and_no_oftener() -> None:
    """Enumerated over every outcome of 60 trials, at the rates where coverage is worst."""
    n = 60
    bounds = np.array([upper_bound(errors, n) for errors in range(n + 1)])
    for rate in (*(bounds[:8] + 1e-9), 0.02, 0.3):
        chance = [math.comb(n, k) * rate**k * (1 - rate) ** (n - k) for k in range(n + 1)]
        missed = float(np.array(chance)[bounds < rate].sum())

        assert missed <= 0.05 + 1e-9


@pytest.mark.parametrize("n", [9, 19, 37, 100])
@pytest.mark.parametrize("alpha", [0.05, 0.1, 0.3])
def test_a_margin_covers_the_cell_left_out_as_often_as_promised(n: int, alpha: float) -> None:
    """Exact enumeration: each of n + 1 cells is the new one once; no oftener than 1/(n+1) more."""
    scores = np.random.default_rng(n).normal(size=n + 1)
    covered = [scores[i] <= covering_margin(np.delete(scores, i), alpha) for i in range(n + 1)]

    assert 1 - alpha - 1e-9 <= np.mean(covered) <= 1 - alpha + 1 / (n + 1) + 1e-9


class Given(ClassifierMixin, BaseEstimator):  # type: ignore[misc]
    """A classifier whose probabilities are its input."""

    def __init__(self) -> None:
        self.classes_ = np.arange(4)
        self.is_fitted_ = True

    def fit(self, _x: np.ndarray, _y: np.ndarray) -> Given:
        return self

    def predict_proba(self, x: np.ndarray) -> np.ndarray:
        return x

    def predict(self, x: np.ndarray) -> np.ndarray:
        return x.argmax(axis=1)


@pytest.mark.parametrize("alpha", [0.05, 0.1, 0.2])
def test_candidates_within_the_margin_are_mapies_prediction_sets(alpha: float) -> None:
    rng = np.random.default_rng(3)
    chances = rng.dirichlet(np.full(4, 0.7), 160)
    truth = np.array([rng.choice(4, p=row) for row in chances])
    model = SplitConformalClassifier(
        Given(), confidence_level=1 - alpha, conformity_score="lac", prefit=True
    )
    model.conformalize(chances[:80], truth[:80])
    _, sets = model.predict_set(chances[80:])
    margin = covering_margin(1 - chances[np.arange(80), truth[:80]], alpha)

    np.testing.assert_array_equal(1 - chances[80:] <= margin + 1e-12, sets[:, :, 0])


def test_the_promise_bounds_boards_as_scipys_exact_test_does() -> None:
    exact = binomtest(3, 60, alternative="less").proportion_ci(0.95, "exact").high

    assert Practice(photos=60, wrong=3).at_most() == pytest.approx(exact)
    assert "without a question" in promise_words()
