"""Gaussian processes against scikit-learn's, and leaving one out against really leaving it out."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import RBF, ConstantKernel

from vision.smooth import Kernel, covariance, leave_one_out, predict

KERNELS: dict[str, Kernel] = {
    "one length": ((0.5, 40.0),),
    "a level and two lengths": ((3.0, np.inf), (0.5, 80.0), (0.15, 15.0)),
}


def scattered(number: int = 30) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Places mm, values and noise of a field seen here and there."""
    rng = np.random.default_rng(8)
    places = rng.uniform(0, 200, (number, 2))
    values = np.sin(places[:, 0] / 40) + 0.01 * places[:, 1] + rng.normal(0, 0.1, number)
    return places, values, rng.uniform(0.05, 0.4, number)


def by_scikit_learn(kernel: Kernel, noise: np.ndarray) -> GaussianProcessRegressor:
    parts = [
        ConstantKernel(sd**2) * RBF(length) if np.isfinite(length) else ConstantKernel(sd**2)
        for sd, length in kernel
    ]
    total = parts[0]
    for part in parts[1:]:
        total = total + part
    return GaussianProcessRegressor(total, alpha=noise**2, optimizer=None)


@pytest.mark.parametrize("name", KERNELS)
def test_prediction_is_that_of_scikit_learn(name: str) -> None:
    places, values, noise = scattered()
    asked = np.random.default_rng(9).uniform(-30, 230, (50, 2))
    expected = by_scikit_learn(KERNELS[name], noise).fit(places, values).predict(asked)

    found = predict(asked, places, values, noise, KERNELS[name])
    np.testing.assert_allclose(found, expected, atol=1e-8)


@pytest.mark.parametrize("name", KERNELS)
def test_leaving_one_out_is_what_scikit_learn_says_without_it(name: str) -> None:
    places, values, noise = scattered()
    mean, variance = leave_one_out(places, values, noise, KERNELS[name])

    for i in range(len(places)):
        others = np.arange(len(places)) != i
        model = by_scikit_learn(KERNELS[name], noise[others]).fit(places[others], values[others])
        alone, spread = model.predict(places[[i]], return_std=True)
        assert mean[i] == pytest.approx(alone[0], abs=1e-8)
        assert variance[i] == pytest.approx(spread[0] ** 2, abs=1e-8)


def test_where_nothing_was_seen_the_field_is_zero() -> None:
    nothing = np.empty((0, 2)), np.empty(0), np.empty(0)
    found = predict(np.zeros((2, 2)), *nothing, KERNELS["one length"])

    np.testing.assert_array_equal(found, [0, 0])


def test_a_value_without_noise_is_kept_and_far_from_it_nothing_is_known() -> None:
    asked = np.array([[0.0, 0.0], [4000.0, 0.0]])
    seen = np.array([[0.0, 0.0]])
    found = predict(asked, seen, np.array([0.7]), np.array([1e-6]), KERNELS["one length"])

    np.testing.assert_allclose(found, [0.7, 0.0], atol=1e-6)


def test_prior_covariance_falls_with_distance_and_is_symmetric() -> None:
    places = np.array([[0.0, 0.0], [10.0, 0.0], [50.0, 0.0]])
    prior = covariance(places, places, KERNELS["one length"])

    np.testing.assert_allclose(prior, prior.T)
    assert prior[0, 0] == pytest.approx(0.25)
    assert prior[0, 0] > prior[0, 1] > prior[0, 2] > 0
