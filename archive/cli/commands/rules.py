"""muniment rules: the catalogue of rules."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from archive.cli.common import output_options, print_json, print_line, print_text
from archive.errors import Trouble

_POLICY = click.option(
    "--policy",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="POLICY.toml",
    help="Severities and tolerances as this policy sets them.",
)


@click.group("rules", invoke_without_command=True)
@output_options
@click.pass_context
def command(context: click.Context, as_json: bool, quiet: bool) -> None:
    """Shows the rules by which records are checked: what each looks at, why, and what to do.

    \b
    Example:
      muniment rules
      muniment rules show sweep-stops-short
    """
    if context.invoked_subcommand is None:
        context.invoke(listed, as_json=as_json)


@command.command("list")
@_POLICY
@output_options
def listed(policy: Path | None = None, as_json: bool = False, quiet: bool = False) -> None:
    """Lists all rules, group by group.

    \b
    Example:
      muniment rules list --json
    """
    from archive.validation import catalogue
    from archive.validation.catalogue.policy import Policy, load

    chosen = load(policy) if policy else Policy()
    rules = list(catalogue.rules().values())
    if as_json:
        print_json({"rules": [_document(r, chosen) for r in rules], "rules_version": catalogue.version()})
        return
    group = ""
    for rule in rules:
        if rule.group.title != group:
            print_text(f"{'' if not group else chr(10)}{rule.group.title}")
            group = rule.group.title
        print_line(f"  {rule.name} ({chosen.severity(rule.name)}): {rule.meaning}")


@command.command("show")
@click.argument("name", metavar="RULE")
@_POLICY
@output_options
def show(name: str, policy: Path | None = None, as_json: bool = False, quiet: bool = False) -> None:
    """Shows one rule in full, with its tolerances and its examples.

    \b
    Example:
      muniment rules show calibration-expired
    """
    import difflib

    from archive.validation import catalogue
    from archive.validation.catalogue.policy import Policy, load

    if name not in catalogue.rules():
        near = difflib.get_close_matches(name, catalogue.rules(), n=3, cutoff=0.4)
        raise Trouble(
            "there is no such rule",
            code="option.unknown-rule",
            found=name,
            expected=" or ".join(near),
            remedy="`muniment rules list` names them all",
        )
    chosen = load(policy) if policy else Policy()
    rule = catalogue.rule(name)
    if as_json:
        print_json(_document(rule, chosen))
        return
    print_line(f"{rule.name} ({chosen.severity(name)}; {rule.group.title})")
    facts = [("A sound record", rule.meaning), ("Why", rule.why), ("What to do", rule.remedy), ("Source", rule.source)]
    for heading, text in facts:
        print_line(f"  {heading}: {text}")
    for key, value in chosen.tolerance(name).items():
        shown = f"{key} = {value!r}" if len(repr(value)) < 300 else f"{key}: {len(value)} entries"
        print_line(f"  Tolerance: {shown}")
    words = {"bad": "raised by", "good": "silent at", "blind": "cannot look at"}
    for example in rule.examples:
        print_line(f"  {words[example['outcome']]}: {example['what']}")


def _document(rule: Any, policy: Any) -> dict[str, Any]:
    return {
        "rule": rule.name,
        "severity": policy.severity(rule.name),
        "meaning": rule.meaning,
        "why": rule.why,
        "remedy": rule.remedy,
        "source": rule.source,
        "group": rule.group.title,
        "by": rule.by,
        "tolerances": policy.tolerance(rule.name),
        "examples": [{"outcome": e["outcome"], "what": e["what"]} for e in rule.examples],
    }
