"""Local dates and times of the tables as numpy arrays, with their precision."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from archive.tables.arrow import one_chunk

NO_TIME = np.datetime64("NaT", "s")
_FORMATS = (("%Y-%m-%d", 10, "day"), ("%Y-%m-%dT%H:%M", 16, "minute"), ("%Y-%m-%dT%H:%M:%S", 19, "second"))


def local_times(column: pa.ChunkedArray | pa.Array) -> tuple[npt.NDArray[np.datetime64], npt.NDArray[np.str_]]:
    """ISO 8601 local dates and date-times (texts) as datetime64[s] and their precision.

    Returns two arrays as long as the column: times (NaT where empty or not ISO 8601) and precision ("day", "minute",
    "second", "" where there is no time). Fractions of a second are cut off.
    """
    texts = one_chunk(column)
    lengths = pc.fill_null(pc.utf8_length(texts), 0).to_numpy(zero_copy_only=False)
    times = np.full(len(lengths), NO_TIME)
    precision = np.full(len(lengths), "", dtype="U6")
    for form, length, word in _FORMATS:
        fits = lengths >= 19 if length == 19 else lengths == length
        if not fits.any():
            continue
        cut = pc.utf8_slice_codeunits(texts.filter(pa.array(fits)), 0, length)
        read = pc.strptime(cut, format=form, unit="s", error_is_null=True)
        # strptime takes 30 February for 2 March: what does not come back the same is no date
        read = pc.if_else(pc.equal(pc.strftime(read, format=form), cut), read, None)
        times[fits] = read.to_numpy(zero_copy_only=False).astype("datetime64[s]")
        precision[fits] = np.where(np.isnat(times[fits]), "", word)
    return times, precision


def iso(time: np.datetime64, precision: str = "second") -> str:
    """A time in ISO 8601, as precise as it was found."""
    return str(time)[: {"day": 10, "minute": 16}.get(precision, 19)]
