"""Findings as SARIF 2.1.0 (OASIS Standard with Errata 01), so that other tools show them.

One run. The rules that found something are its reportingDescriptors, each finding a result: error is level error,
warning is warning, information is note. A rule that could not look and a bug of this program are notifications of the
invocation, since they are not results.
"""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from archive.validation import catalogue
from archive.validation.catalogue.answering import stage
from archive.validation.report.collect import Collected
from archive.validation.report.wording import count
from archive.version import __version__

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
LEVELS = {"error": "error", "warning": "warning", "information": "note"}


def sarif(collected: Collected) -> dict[str, Any]:
    """The SARIF log of what was collected. Findings beyond those kept are counted in a notification."""
    rules = collected.rules
    place = {rule: i for i, rule in enumerate(rules)}
    run: dict[str, Any] = {
        "tool": {
            "driver": {
                "name": "muniment",
                "version": __version__,
                "semanticVersion": __version__,
                "rules": [_rule(rule, collected) for rule in rules],
                "properties": {"rulesVersion": catalogue.version()},
            }
        },
        "invocations": [_invocation(collected)],
        "columnKind": "unicodeCodePoints",
        "results": [_result(row, place) for rule in rules for row in collected.of(rule)],
        "properties": {"records": collected.records, "setAside": collected.set_aside},
    }
    return {"$schema": SCHEMA, "version": "2.1.0", "runs": [run]}


def _rule(name: str, collected: Collected) -> dict[str, Any]:
    rule = catalogue.rule(name)
    return {
        "id": name,
        "shortDescription": {"text": rule.meaning},
        "fullDescription": {"text": f"{rule.meaning} {rule.why}"},
        "help": {"text": f"{rule.remedy} Source: {rule.source}."},
        "defaultConfiguration": {"level": LEVELS[rule.severity]},
        "properties": {"group": rule.group.title, "findings": collected.totals[name]},
    }


def _result(row: dict[str, Any], place: dict[str, int]) -> dict[str, Any]:
    file, _, inside = (row["source"] or "").partition(", ")
    names = [
        {"name": value, "kind": kind}
        for value, kind in ((row["link_label"], "link"), (row["record_id"], "record"), (row["where"], "place"))
        if value
    ]
    location: dict[str, Any] = {}
    if file:
        location["physicalLocation"] = {"artifactLocation": {"uri": quote(file)}}
        line = inside.removeprefix("row ").removeprefix("line ")
        if line.isdecimal() and int(line):
            location["physicalLocation"]["region"] = {"startLine": int(line)}
    if names:
        location["logicalLocations"] = names
    properties = {k: row[k] for k in ("found", "expected", "remedy") if row[k]}
    return {
        "ruleId": row["rule"],
        "ruleIndex": place[row["rule"]],
        "level": LEVELS[row["severity"]],
        "message": {"text": row["message"]},
        "locations": [location] if location else [],
        **({"properties": properties} if properties else {}),
    }


def _invocation(collected: Collected) -> dict[str, Any]:
    blind = [
        _notice("note", f"{rule} could not look at {count(number, 'record') if number else 'the job'}: {why}", rule)
        for (rule, why), number in sorted(collected.blind.items())
    ]
    more = [
        _notice("note", f"{rule}: {collected.totals[rule]} findings, {len(collected.of(rule))} of them listed", rule)
        for rule in collected.rules
        if collected.totals[rule] > len(collected.of(rule))
    ]
    faults = [
        _notice("error", f"{stage(f)} failed by a fault of this program: {f.what}", f.where)
        for f in collected.faults.values()
    ]
    return {"executionSuccessful": not faults, "toolExecutionNotifications": [*blind, *more, *faults]}


def _notice(level: str, text: str, rule: str) -> dict[str, Any]:
    return {"level": level, "message": {"text": text}, "associatedRule": {"id": rule}}
