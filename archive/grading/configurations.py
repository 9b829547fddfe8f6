"""What was inside the measurement of a record, against what a limit is for."""

from __future__ import annotations

import numpy as np

from archive.grading.arithmetic import Bools
from archive.grading.grading_input import GradingInput
from archive.grading.resolve_limit import ResolvedLimit
from archive.limits import Limit
from archive.limits.cords import WITH_CORDS, WITHOUT_CORDS, configuration_words


def tested_configuration(data: GradingInput, named: ResolvedLimit, record: int) -> str:
    """The configuration that a record was tested in: as it says, else that of its limit; empty where neither is."""
    by_limit = (named.limit_id or "").split("/")
    return data.configuration[record] or (by_limit[2] if len(by_limit) > 2 else "")


def lacks_cords(data: GradingInput, named: list[ResolvedLimit]) -> Bools:
    """A flag per record: were the cords at its ends left out of the measurement."""
    return np.array([tested_configuration(data, n, r) in WITHOUT_CORDS for r, n in enumerate(named)], np.bool_)


def nothing_about_links(limit: Limit) -> str:
    """Why a link without cords is not graded against a limit that names none."""
    wanted = configuration_words(limit.configuration)
    return f"measured without the cords of a {wanted}, and what they add is not declared for this limit"


def remark(data: GradingInput, limit: Limit, named: ResolvedLimit, record: int) -> str:
    """How far an answer reaches where a limit that the record does not name is for another configuration."""
    if limit.judged_as:
        return f"judged as {limit.judged_as}"
    tested, wanted = (configuration_words(c) for c in (tested_configuration(data, named, record), limit.configuration))
    if not tested and limit.configuration in WITH_CORDS:
        return f"the record does not say whether the cords of a {wanted} were measured"
    same = tested == wanted or {tested, wanted} == {configuration_words(c) for c in WITH_CORDS}
    return "" if same or not tested or not wanted else f"measured as a {tested}, the limit is for a {wanted}"
