"""Columns of the records ready for counting."""

from __future__ import annotations

from functools import cache
from typing import Any

from archive import vocabulary

FROM_DATABASE = (
    "row",
    "deposit",
    "position",
    "record_id",
    "link_label",
    "job_id",
    "site",
    "medium",
    "cable_type",
    "cable_basis",
    "limit_id",
    "limit_found",
    "configuration",
    "tested_local",
    "tested_at",
    "evidence",
    "local_serial",
    "remote_serial",
    "kind",
    "withdrawn",
    "replaced",
    "reported_verdict",
    "verdict",
    "marginal",
    "provisional",
    "agrees",
    "parameter",
    "margin",
    "leading_parameter",
    "leading_pairing",
    "leading_end",
    "leading_frequency_mhz",
    "leading_margin",
    "length_m",
    "source_id",
    "operator_key",
    "current",
    "accepted",
    "first",
    "unit",
    "accepted_unit",
    "link",
    "doubt",
    "copied",
    "lesser_fails",
    "tests",
)
"""Columns of the catalogue's records that are taken over."""

OF_UNIT = ("maker", "model", "software", "adapter", "calibrated_on")
"""Columns of the unit at the local end."""

FROM_BAG = (*OF_UNIT, "remote_model", "pairing", "end", "frequency_mhz")
"""Columns that come from the bag: of the units, and of the point of the worst margin."""

CABLE = ("category", "construction", "screened", "gauge", "conductor", "sheath")
"""Parts of the cable type: the word of each, `open` or `contradicted` where the type says so, null where it says
nothing; screened: screened or unscreened."""

FLAGS = (
    "withdrawn",
    "replaced",
    "marginal",
    "provisional",
    "agrees",
    "current",
    "accepted",
    "in_doubt",
    "copied",
    "first",
)
REALS = ("worst_margin_db", "leading_margin_db", "leading_frequency_mhz", "length_m", "frequency_mhz")

STATES = ("state", "state_program", "state_reported")
"""What a statistic counts, as bits of a number (BITS), so that one column is read for all of them: by the outcome, by
this program's verdicts on full sweeps alone, by the instruments' verdicts alone."""

BITS = {
    "current": 1,  # decides for its link now
    "first": 2,
    "passed": 4,
    "failed": 8,
    "fixed": 16,  # current or accepted, passed, and the first test failed
    "marginal": 32,  # passed, and marginal
    "marginal_known": 64,  # passed, and whether it is marginal is known
    "provisional": 128,  # decided here, and provisional
    "by_instrument": 256,  # decided by the instrument's verdict alone
    "retested": 512,  # current or accepted, and tested more than once
    "live": 1024,  # counts as a test
    "swept": 2048,  # whole curves came along
    "accepted": 4096,  # decides for its link as its job was accepted
    "in_doubt": 8192,  # would be current, but which link it is of is in doubt
    "copied": 16384,  # would be current, but its curves are those of another link
    "lesser_fails": 32768,  # current or accepted, and a later test of less evidence fails
}

ORDER = (
    *(name for name in FROM_DATABASE if name not in ("margin", "leading_margin", "doubt", "tests")),
    "in_doubt",
    "worst_margin_db",
    "leading_margin_db",
    *FROM_BAG,
    "crew",
    "contractor",
    "client",
    *CABLE,
    "year",
    "month",
    "outcome",
    "tests",
    "first_outcome",
    "first_verdict",
    "first_reported",
    "length_band",
    *STATES,
)
"""All columns but those of single parameters, in their order.

worst_margin_db, leading_margin_db: the smallest margin of all and the leading margin, of parameters in dB.
outcome: pass or fail where the record was graded whole; of a record of which only worst points or a verdict came
along, the instrument's own verdict, since such a record can fail here but never pass; null where it is not graded.
current, accepted: the record decides for its link now, or as its job was accepted; one whose link is in doubt, or whose
curves are those of another link, does neither, and in_doubt or copied says that it would be current otherwise.
tests, first_*: of current and accepted records only: tests of the link that count, and what its first test came to.
length_band: number of the band of length of schemas/rates.toml; bands of fibers count from a hundred.
"""

CELLS = (
    "job_id",
    "site",
    "client",
    "contractor",
    "crew",
    "medium",
    "cable_type",
    "cable_basis",
    *CABLE,
    "limit_id",
    "limit_found",
    "configuration",
    "evidence",
    "year",
    "month",
    "length_band",
    *OF_UNIT,
    "local_serial",
    "remote_model",
    "remote_serial",
    "operator_key",
    *STATES,
)
"""Columns in which the records of a cell agree; a file of cells has them and `number`, of records that count."""

GRADED = {"not graded": 0, "pass": 1, "fail": 2}
"""graded_*: what a parameter came to; four more where that is provisional, eight where the instrument alone says so."""
PROVISIONAL, REPORTED = 4, 8


_BY_WAVELENGTH = "optical_loss"
_NM = (850, 953, 1300, 1310, 1383, 1550, 1625)


@cache
def counted_parameters() -> tuple[str, ...]:
    """Parameters that are counted, in their order: those of the vocabulary, and losses of fibers at each wavelength by
    themselves (optical_loss_1310nm)."""
    found: list[str] = []
    for name in vocabulary.parameters():
        found += [name, *(at_wavelength(nm) for nm in _NM if name == _BY_WAVELENGTH)]
    return tuple(found)


def at_wavelength(nm: float) -> str:
    """Losses at a wavelength as a parameter by itself."""
    return f"{_BY_WAVELENGTH}_{nm:g}nm"


def of_parameter(name: str) -> str:
    """The parameter of the vocabulary that a counted one is of."""
    return _BY_WAVELENGTH if name.startswith(f"{_BY_WAVELENGTH}_") else name


@cache
def schema(parameters: tuple[str, ...] = ()) -> Any:
    """Arrow schema of a file of records."""
    import pyarrow as pa

    types = {
        **dict.fromkeys(FLAGS, pa.bool_()),
        **dict.fromkeys(REALS, pa.float64()),
        **dict.fromkeys(("row", "position", "unit", "accepted_unit", "tests", "lesser_fails"), pa.int32()),
        "year": pa.int16(),
        "month": pa.int8(),
        "length_band": pa.int8(),
        **dict.fromkeys(STATES, pa.int32()),
    }
    fields = [pa.field(name, types.get(name, pa.string())) for name in ORDER]
    for name in parameters:
        fields += [pa.field(f"margin_{name}", pa.float32()), pa.field(f"graded_{name}", pa.int8())]
    return pa.schema(fields)


@cache
def failures() -> Any:
    """Arrow schema of a file of failures: one row per curve, or reading, of a record that failed.

    told_by: "program"; "instrument" where the program has no grade of the parameter; "instrument too" where it has.
    """
    import pyarrow as pa

    return pa.schema(
        [
            ("row", pa.int32()),
            ("parameter", pa.string()),
            ("end", pa.string()),
            ("pairing", pa.string()),
            ("direction", pa.string()),
            ("wavelength_nm", pa.float64()),
            ("frequency_mhz", pa.float64()),
            ("margin", pa.float64()),
            ("provisional", pa.bool_()),
            ("told_by", pa.string()),
        ]
    )
