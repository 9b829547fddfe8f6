"""The page of a plan, confirming it, and what was confirmed."""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from typing import Any

from starlette.responses import RedirectResponse, Response

from archive.answers import receipt
from archive.answers.receipt import ReceiptFacts
from archive.errors import Trouble
from archive.room.app import PageRequest
from archive.room.desk import work as works
from archive.room.desk.plan import receipt_of
from archive.room.desk.work import Work
from archive.vocabulary.ranges import ranges

_MISSING = 60
"""Ranges of missing links that are listed."""


def page(asked: PageRequest) -> Response:
    """What would be archived, and the button that confirms just that."""
    found, plan = _plan(asked)
    made = receipt_of(plan)
    job = plan["what"]["job"]
    document = receipt.compose(ReceiptFacts(made, asked.root.name, job, dry_run=True), asked.words)
    begun = works.once(asked.at_desk.works, _key(found, plan))
    missing = ranges(plan["links"]["missing"])
    return asked.page(
        "hand_in_plan.html",
        asked.words("Plan for {job}", job=job),
        _command(asked, plan),
        id=found.id,
        plan=plan,
        document=document,
        look=plan["receipt"]["look"],
        links=plan["links"],
        missing=missing[:_MISSING] + ([asked.words("and more")] if len(missing) > _MISSING else []),
        moved=asked.look.head.size - plan["head"]["size"],
        begun=begun,
        former=_differences(asked, found, plan),
        by=asked.made_by,
        exact=False,
    )


def confirm(asked: PageRequest) -> Response:
    """Begins the deposit of a plan: of just the one that was shown, and of it once."""
    found, plan = _plan(asked)
    if asked.text("plan") != plan["digest"] or asked.text("head") != plan["head"]["root"]:
        raise Trouble(
            "what was confirmed is not this plan",
            code="desk.other-plan",
            remedy="look the plan over again, and confirm",
        )
    what = {**plan["what"], "plan": found.id, "former": plan["what"]}
    made = asked.at_desk.begin(asked.sign_in, "deposit", what, _key(found, plan))
    return RedirectResponse(asked.address("/running/one", id=made.id), 303)


def _plan(asked: PageRequest) -> tuple[Work, dict[str, Any]]:
    """The piece of work that made a plan, and the plan. Errors: Trouble where it is none, or somebody else's."""
    found = works.work(asked.at_desk.works, asked.text("id"))
    plan = found.result()
    if found.request.owner != asked.sign_in.name or found.word not in ("done", "look") or "decided" not in plan:
        raise Trouble("there is no plan of yours here", code="desk.no-plan", remedy="make a dry run")
    return found, plan


def _key(found: Work, plan: Mapping[str, Any]) -> str:
    return f"deposit {found.id} {plan['digest']}"


def _differences(asked: PageRequest, found: Work, plan: Mapping[str, Any]) -> list[tuple[str, int, int]] | None:
    """Counts that are others than those of the plan that was confirmed before; None where there was none before."""
    if found.request.kind != "deposit":
        return None
    former = works.work(asked.at_desk.works, found.request.what["plan"]).result()
    then, now = former["receipt"], plan["receipt"]
    names = {
        "new": asked.words("new"),
        "retests": asked.words("new tests of links that were tested before"),
        "reread": asked.words("read again from files that are here already; this reading counts"),
        "renditions": asked.words("the same test with other rounding or in less detail; the richer one counts"),
        "same_file": asked.words("here already: the same file"),
        "same_content": asked.words("here already: the same content"),
        "conflicts": asked.words("IN CONFLICT: the same test with other values; none counts until one is withdrawn"),
        "relabelled": asked.words("UNDER ANOTHER LABEL: the same test; the former counts until somebody decides"),
        "copied_curves": asked.words(
            "COPIED CURVES: the same curves as another test; somebody may have copied a result"
        ),
    }
    rows = [(text, then["counts"].get(kind, 0), now["counts"].get(kind, 0)) for kind, text in names.items()]
    rows.append((asked.words("set aside"), then["set_aside"], now["set_aside"]))
    return [row for row in rows if row[1] != row[2]]


def _command(asked: PageRequest, plan: Mapping[str, Any]) -> str:
    what = plan["what"]
    words = ["muniment", "deposit", "FOLDER", "--into", str(asked.root), "--job", what["job"]]
    for name in ("site", "zone", "reason"):
        words += [f"--{name}", what[name]] if what.get(name) else []
    words += [f"--{name.replace('_', '-')}" for name in ("whole_schedule", "accept_draft", "new") if what.get(name)]
    return shlex.join([*words, "--confirmed", plan["decided"]])
