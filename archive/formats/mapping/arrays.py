"""Names of the array types that flow through this room: NumPy arrays by the type of their cells."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]
Signs = npt.NDArray[np.int8]
"""Bounds of numbers: 1 for "more than", -1 for "less than", 0 for none."""
