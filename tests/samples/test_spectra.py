import numpy as np
import pytest
from skimage.exposure import rescale_intensity

from samples.spectra import (
    LAMPS,
    balance,
    basis,
    camera,
    linear_to_srgb,
    paint,
    planck,
    response,
    srgb_to_linear,
)

SOME = np.array([[0.4, 0.1, 0.05], [0.1, 0.3, 0.2], [0.7, 0.7, 0.6]])


def seen(reflectance: np.ndarray, lamp: str, phone_nm: float = 0.0) -> np.ndarray:
    eye = camera(phone_nm)
    return response(eye, LAMPS[lamp], balance(eye, LAMPS[lamp])) @ reflectance


@pytest.mark.parametrize("rgb", SOME)
def test_a_paint_shows_its_own_colour_by_day(rgb: np.ndarray) -> None:
    assert np.abs(seen(paint(rgb), "daylight") - rgb).max() < 1e-6


@pytest.mark.parametrize("rgb", SOME)
def test_a_ripple_does_not_show_by_day_but_does_under_a_lamp(rgb: np.ndarray) -> None:
    plain, rippled = paint(rgb), paint(rgb, 0.04)

    assert np.abs(seen(plain, "daylight") - seen(rippled, "daylight")).max() < 0.02
    assert np.abs(seen(plain, "led-warm") - seen(rippled, "led-warm")).max() > 0.003


@pytest.mark.parametrize("lamp", sorted(LAMPS))
def test_white_balance_keeps_white_white_but_not_every_colour(lamp: str) -> None:
    white = seen(np.ones(16), lamp)

    assert np.ptp(white) < 1e-6
    if lamp not in ("daylight", "shade"):
        assert np.abs(seen(paint(SOME[0]), lamp) - SOME[0]).max() > 0.01


def test_two_phones_do_not_agree_on_a_colour_under_a_lamp() -> None:
    assert np.abs(seen(paint(SOME[0]), "bulb", -6) - seen(paint(SOME[0]), "bulb", 6)).max() > 0.005


def test_the_basis_adds_up_to_white() -> None:
    assert np.allclose(basis().sum(axis=1), 1.0)


def test_a_bulb_is_redder_than_daylight() -> None:
    bulb, day = planck(2850.0), planck(6500.0)

    assert bulb[-1] / bulb[0] > 5 * day[-1] / day[0]


def test_srgb_goes_there_and_back() -> None:
    steps = rescale_intensity(np.arange(256.0), out_range=(0.0, 1.0))

    assert np.abs(linear_to_srgb(srgb_to_linear(steps)) - steps).max() < 1e-6
    assert srgb_to_linear(np.array(0.5)) == pytest.approx(0.21404114, abs=1e-8)  # IEC 61966-2-1
