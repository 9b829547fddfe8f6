"""The functions of the rules: the file of a rule is named as the file in schemas/rules/ that declares it."""

from __future__ import annotations

import importlib
import pkgutil
from functools import cache

from archive.validation.catalogue.registry import RuleFunction, registered


@cache
def record_rules() -> dict[str, RuleFunction]:
    """The functions of all rules over single records, in the order of the catalogue."""
    return _loaded("record")


@cache
def job_rules() -> dict[str, RuleFunction]:
    """The functions of all rules across records, in the order of the catalogue."""
    return _loaded("job")


def _loaded(by: str) -> dict[str, RuleFunction]:
    for module in pkgutil.iter_modules(__path__):
        importlib.import_module(f"{__name__}.{module.name}")
    return registered(by)
