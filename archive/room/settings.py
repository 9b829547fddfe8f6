"""What concerns the reader: the language of the pages, and sign-ins."""

from __future__ import annotations

import shlex

from starlette.responses import RedirectResponse, Response

from archive.errors import Trouble
from archive.room.app import PageRequest
from archive.room.language import COOKIE, NAMES


def language(asked: PageRequest) -> Response:
    """Keeps a language in a cookie of the room, and goes back to the page where it was chosen."""
    chosen, back = asked.text("language") or "", asked.text("back") or "/"
    if chosen not in NAMES:
        raise Trouble("no such language", code="room.address", found=chosen, expected=", ".join(NAMES))
    inside = back if back.startswith("/") and not back.startswith("//") and "\\" not in back else "/"
    answer = RedirectResponse(asked.base + inside, 303)
    answer.set_cookie(COOKIE, chosen, path=asked.base + "/", httponly=True, samesite="strict", max_age=365 * 86400)
    return answer


def sign_ins(asked: PageRequest) -> Response:
    """Browsers that are let in: one's own, and those of all for whoever looks after the room."""
    listed = [s for s in asked.door.listed() if _may_end(asked, s.number)]
    command = shlex.join(["muniment", "room", str(asked.root), "--again"])
    return asked.page("sign_ins.html", asked.words("Sign-ins"), command, listed=listed, exact=False)


def end(asked: PageRequest) -> Response:
    """Ends one of them."""
    number = asked.needed("number")
    if not _may_end(asked, number):
        raise Trouble("no such sign-in, or not one of yours", code="room.address", found=number, remedy="go back")
    asked.door.end_number(number)
    return RedirectResponse(asked.address("/sign-ins"), 303)


def _may_end(asked: PageRequest, number: str) -> bool:
    """Whoever came in by a token opened the room; a user may end his own, and who may manage those of all."""
    other = next((s for s in asked.door.listed() if s.number == number), None)
    mine = asked.sign_in
    return other is not None and (not mine.name or mine.role == "manage" or other.name == mine.name)
