"""The value type that crosses the wall of calibrate."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scoring.sheet import GameSheet


@dataclass(frozen=True, eq=False)
class Table:
    """One set of components under one light: a game sheet plus what calibration learned of it."""

    name: str
    sheet: GameSheet
