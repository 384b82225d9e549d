"""How a lamp or a camera mixes the channels of saturated colours.

Bare board tells what a light does to paper. What it does to a saturated colour hangs on the spectra
of the lamp, the paint and the sensor (metamerism); most of that is a mixing of the three channels
that leaves white as it is. Source of the model: a linear map in linear RGB, as cameras are
characterised by (Finlayson, Mackiewicz, Hurlbert, "Color correction using root-polynomial
regression", IEEE Transactions on Image Processing 24(5), 2015).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MIXINGS = np.array(
    [
        [[-0.085, 0.106, -0.021], [-0.004, -0.019, 0.023], [0.000, -0.072, 0.072]],
        [[0.007, 0.000, -0.007], [0.028, 0.035, -0.063], [-0.011, -0.012, 0.023]],
        [[-0.023, 0.031, -0.008], [0.013, 0.000, -0.013], [-0.004, 0.036, -0.032]],
    ]
)
"""Three ways (3, 3, 3) in which channels mix, one standard deviation each: the principal components
of what takes the colours of a 24-patch chart from one CIE illuminant to another, through the
sensitivities of a Nikon 5100. They hold 96 % of it (``tests/vision/test_mixing.py`` works them out
from the published spectra)."""


def unmixed(amounts: Array) -> Array:
    """Matrices (S, 3, 3) that undo mixing by ``amounts`` (S, 3), standard deviations, of linear
    RGB: ``colour = matrix @ mixed``."""
    return np.linalg.inv(np.eye(3) + np.einsum("sk,kij->sij", amounts, MIXINGS))
