"""The rules as they are declared in schemas/rules/, the policy that changes them, and their findings."""

from __future__ import annotations

from archive.validation.catalogue.declared_rules import CatalogueRule, RuleGroup, UnknownRule, rule, rules, version

__all__ = ["CatalogueRule", "RuleGroup", "UnknownRule", "rule", "rules", "version"]
