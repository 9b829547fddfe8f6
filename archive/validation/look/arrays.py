"""Kinds of arrays that rules work with; each docstring gives length and unit."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

Rows: TypeAlias = npt.NDArray[np.integer[Any]]
"""Row numbers of a table, -1 for none."""
Mask: TypeAlias = npt.NDArray[np.bool_]
Reals: TypeAlias = npt.NDArray[np.floating[Any]]
"""Numbers, NaN for none."""
Words: TypeAlias = npt.NDArray[np.object_]
"""Texts (str), "" for none."""
Times: TypeAlias = npt.NDArray[np.datetime64]
"""datetime64[s] or [D], NaT for none."""
