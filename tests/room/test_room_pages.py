"""Pages as a person reads them, and labels that bite."""

from __future__ import annotations

import io
import json
import re
import zipfile
from html import escape
from pathlib import Path
from urllib.parse import quote, urlencode, urlsplit

import numpy as np
import pytest

from archive import limits
from archive.answers.documents.text import visible
from tests.room.serving import HOSTILE, LABELS, Room


def get(room: Room, inside: tuple[str, str], path: str, **query: str):
    base, cookie = inside
    return room.ask(base + path + ("?" + urlencode(query) if query else ""), cookie=cookie)


def test_finding_shows_links_with_words_and_the_command_that_does_the_same(room, inside):
    page = get(room, inside, "/", q="a0")
    assert page.status == 200
    assert "1A-A01" in page.body and "1A-A02" in page.body and "2B-C17" not in page.body
    assert "muniment find" in page.body and "Ledger head of" in page.body
    assert ">fail<" in page.body and ">pass<" in page.body


def test_what_changes_while_typing_is_a_part_alone(room, inside):
    part = get(room, inside, "/find/rows", q="c17")
    assert part.status == 200 and "<html" not in part.body and "2B-C17" in part.body
    assert ">1 link.<" in part.body
    assert "Nothing found." in get(room, inside, "/find/rows", q="zzz-404").body
    later = get(room, inside, "/find/narrow", q="1a").body
    assert "Counted over all that were found." in later and "<h3>Verdict</h3>" in later and "<html" not in later
    assert "<h3>" not in get(room, inside, "/find/rows", q="1a").body


def test_lines_narrow_and_can_be_taken_away(room, inside):
    page = get(room, inside, "/", verdict="fail")
    assert "1A-A02" in page.body and "1A-A01" not in page.body and "take away" in page.body


def test_a_link_shows_which_record_counts_its_worst_points_and_its_history(room, inside):
    page = get(room, inside, "/link", label="1A-A02")
    assert page.status == 200
    for words in ("is current", "Worst points", "Everything that happened", "tia-568.2-d/cat6a/permanent-link"):
        assert words in page.body
    graded = get(room, inside, "/link", label="1A-A01", against="iso-11801-1/class-ea/permanent-link-2")
    assert "against another limit" in graded.body and "Worst points against iso-11801-1" in graded.body
    assert get(room, inside, "/link", label="1A-A01", against="../../x").status == 422


def test_curves_and_limit_are_those_of_grading(room, inside):
    """Values are compared with the limit library, and the margin with the difference of both at that point."""
    page = get(room, inside, "/link", label="1A-A02")
    record = page.body.partition("/link/curves?record=")[2].partition('"')[0]
    found = json.loads(get(room, inside, "/link/curves", record=record, parameter="next").body)
    assert len(found["curves"]) == 12 and found["limit_name"] == "tia-568.2-d/cat6a/permanent-link"
    line = limits.get(found["limit_name"]).lines["next"].at(np.array(found["axes"][0]))
    assert found["lines"][0] == pytest.approx(line.round(3).tolist(), nan_ok=True)
    tight = found["tight"][0]
    curve = found["curves"][tight["curve"]]
    differences = [v - bar for v, bar in zip(curve["values"], line, strict=True)]
    assert min(differences) == pytest.approx(tight["margin"], abs=1e-6)
    assert differences[tight["point"]] == min(differences)
    assert tight["verdict"] == ("fail" if tight["margin"] < 0 else "pass")


@pytest.mark.parametrize("label", LABELS)
def test_every_label_is_shown_as_text_and_found_again(room, inside, label):
    page = get(room, inside, "/link", label=label)
    assert page.status == 200
    assert (
        f"<h1>{escape(visible(label), quote=True).replace('&#x27;', '&#39;').replace('&quot;', '&#34;')}</h1>"
        in page.body
    )
    assert "<script>alert" not in page.body and "<img src=x" not in page.body and "\u202e" not in page.body
    assert "<h1>49</h1>" not in page.body
    found = get(room, inside, "/", q=label)
    assert found.status == 200 and "<script>alert" not in found.body


@pytest.mark.parametrize("label", [*HOSTILE, "nowhere"])
def test_what_is_not_there_is_said_with_a_true_status(room, inside, label):
    for path, name in (
        ("/job", "job"),
        ("/limit", "id"),
        ("/proof", "record"),
        ("/document", "id"),
        ("/original", "record"),
    ):
        answer = get(room, inside, path, **{name: label})
        assert answer.status in (404, 422), path
        assert "<script>alert" not in answer.body and "Traceback" not in answer.body


def test_a_proof_is_computed_while_one_looks(room, inside):
    listed = get(room, inside, "/link", label="1A-A01").body
    record = listed.partition("/proof?record=")[2].partition('"')[0]
    page = get(room, inside, "/proof", record=record)
    assert "Every step that was looked at holds" in page.body and "compared with none held elsewhere" in page.body
    wrong = get(room, inside, "/proof", record=record, expect="00" * 32)
    assert "A step does not hold" in wrong.body
    bundle = get(room, inside, "/proof.json", record=record)
    assert (
        bundle.headers["content-disposition"].startswith("attachment") and json.loads(bundle.body)["record"] == record
    )


def test_an_original_leaves_as_an_attachment_byte_for_byte(room, inside, shelf: Path):
    listed = get(room, inside, "/link", label="1A-A01").body
    record = listed.partition("/original?record=")[2].partition('"')[0]
    answer = get(room, inside, "/original", record=record)
    assert answer.body.encode() == (shelf.parent / "export.xml").read_bytes()
    assert "sandbox" in answer.headers["content-security-policy"]
    assert answer.headers["content-disposition"].startswith("attachment")


def test_a_job_is_counted_as_progress_counts_it(room, inside):
    page = get(room, inside, "/job", job="HARBOUR-2019-04")
    assert page.status == 200 and "Failing: 1" in page.body
    told = room.command("progress", str(room.archive), "--job", "HARBOUR-2019-04", "--json")
    sums = json.loads(told)["sums"]
    assert sums
    for line in sums:
        assert escape(line) in page.body


def test_rates_are_those_of_the_command(room, inside):
    page = get(room, inside, "/rates", by="job", limit="cat6a")
    told = json.loads(room.command("rates", str(room.archive), "--by", "job", "--limit", "cat6a", "--json"))
    assert page.status == 200 and len(told["rows"]) == 1
    row = told["rows"][0]
    assert f"{100 * row['rate']:.1f} %" in page.body
    assert f"{100 * row['low']:.1f} to {100 * row['high']:.1f}" in page.body
    picture = get(room, inside, "/rates.svg", by="job")
    assert picture.status == 200 and picture.headers["content-type"] == "image/svg+xml"
    assert get(room, inside, "/rates", by="no-such-field").status == 422
    assert get(room, inside, "/trends", period="quarter").status == 200


def test_readiness_counts_what_the_command_counts(room, inside):
    page = get(room, inside, "/ready", application="10gbase-t")
    told = json.loads(room.command("ready", str(room.archive), "--application", "10gbase-t", "--json"))
    (row,) = told["rows"]
    assert row["links"] > 0 and row["do_not"] + row["carry"] + row["cannot_be_told"] == row["links"]
    for name in ("links", "carry", "do_not", "cannot_be_told"):
        assert f'class="r">{row[name]}</td>' in page.body
    assert get(room, inside, "/ready", application="no-such").status == 422


def test_a_claim_file_is_made_from_the_form(room, inside):
    base, cookie = inside
    form = get(room, inside, "/claim", label="1A-A02").body
    token = form.partition('name="form_token" value="')[2].partition('"')[0]
    body = urlencode(
        {
            "form_token": token,
            "label": "1A-A02",
            "reason": "Letter of 3 May",
            "paper": "letter",
            "language": "de",
            "claimant": "Lantern Quay Trust",
            "failed_on": "2024-05-01",
            "warranty_notice_within_days": "30",
        }
    ).encode()
    kind = "application/x-www-form-urlencoded"
    same = {"sec_fetch_site": "same-origin", "cookie": cookie, "content_type": kind}
    import http.client

    link = http.client.HTTPConnection("127.0.0.1", room.port, timeout=60)
    link.request(
        "POST", base + "/claim.zip", body, {"host": room.host, **{k.replace("_", "-"): v for k, v in same.items()}}
    )
    answer = link.getresponse()
    assert answer.status == 200
    packed = zipfile.ZipFile(io.BytesIO(answer.read()))
    assert "claim/data/claim.pdf" in packed.namelist() and "claim/data/proof.json" in packed.namelist()
    page = packed.read("claim/data/claim.html").decode()
    assert "Lantern Quay Trust" in page and "R. Ostrander" in page and "1. Mai 2024" in page
    assert "Letter of 3 May" in page and '<html lang="de"' in page
    assert re.search(rb"/MediaBox ?\[0 0 612(\.0)? 792(\.0)?\]", packed.read("claim/data/claim.pdf"))  # letter, points
    wrong = body.replace(quote(token).encode(), b"made-up")
    assert room.ask(base + "/claim.zip", "POST", wrong, **same).status == 403


def test_curves_come_with_the_margins_that_grading_gives(room, inside):
    """Against the JSON of `muniment grade`: the tightest point of each curve, in every digit."""
    found = get(room, inside, "/link", label="1A-A02").body
    record = found.partition("/proof?record=")[2].partition('"')[0]
    told = json.loads(get(room, inside, "/link/curves", record=record, parameter="next").body)
    graded = json.loads(room.command("grade", str(room.archive.parent / "export.xml"), "--json"))
    mine = next(v for v in graded["records"] if v["link"] == "1A-A02")
    worst = {(p["pairing"], p["end"]): p["worst_margin"] for p in mine["parameters"] if p["parameter"] == "next"}
    assert len(told["tight"]) == len(worst) > 0
    for tight in told["tight"]:
        curve = told["curves"][tight["curve"]]
        expected = worst[curve["pairing"], curve["end"]]
        assert told["axes"][curve["axis"]][tight["point"]] == pytest.approx(expected["frequency_mhz"])
        assert curve["values"][tight["point"]] == pytest.approx(expected["value"])
        assert curve["margins"][tight["point"]] == pytest.approx(expected["margin"], abs=5e-4)
        assert curve["margins"][tight["point"]] == min(m for m in curve["margins"] if m is not None)
    assert get(room, inside, "/link/curves", record=record, parameter="length").status == 404


def test_two_records_are_compared(room, inside):
    def record(label: str) -> str:
        return get(room, inside, "/link", label=label).body.partition("/proof?record=")[2].partition('"')[0]

    one, other = record("1A-A01"), record("1A-A02")
    page = get(room, inside, "/compare", a=one, b=other)
    assert page.status == 200 and "The second is a record of 1A-A02." in page.body and "Second less first" in page.body
    both = json.loads(get(room, inside, "/link/curves", record=one, beside=other, parameter="next").body)
    assert sum(c["dim"] for c in both["curves"]) * 2 == len(both["curves"]) and len(both["axes"]) == 1
    assert "Both are the same record." in get(room, inside, "/compare", a=one, b=one).body


def test_a_small_picture_is_drawn_anew_in_a_process_of_its_own():
    """Decoded again by Pillow; what is no picture, or not all of one, gives none and ends nothing else."""
    from PIL import Image

    from archive.confined import Confined
    from archive.room.thumbnails import draw, may_be_shown

    out = io.BytesIO()
    Image.effect_noise((2_000, 900), 80).save(out, "JPEG", comment=b"<script>alert(1)</script>")
    for data, shown in ((out.getvalue(), True), (out.getvalue()[:4_000], False), (b"<svg onload='alert(1)'/>", False)):
        with Confined("x.jpg", len(data)) as process:
            drawn = list(process.stream(draw, data))
        assert bool(drawn) is shown
        if drawn:
            small = Image.open(io.BytesIO(drawn[0]))
            assert small.format == "PNG" and max(small.size) == 320 and b"script" not in drawn[0]
    facts = {"file_name": "a.svg", "path": "x", "bytes": 10}
    assert not may_be_shown(facts) and may_be_shown({**facts, "file_name": "a.JPG"})
    assert not may_be_shown({**facts, "file_name": "a.jpg", "path": None})


def test_a_claim_form_says_which_day_is_none(room, inside):
    base, cookie = inside
    token = get(room, inside, "/claim", label="1A-A02").body.partition('name="form_token" value="')[2].partition('"')[0]
    body = urlencode({"form_token": token, "label": "1A-A02", "failed_on": "yesterday"}).encode()
    kind = "application/x-www-form-urlencoded"
    answer = room.ask(base + "/claim.zip", "POST", body, sec_fetch_site="same-origin", cookie=cookie, content_type=kind)
    assert answer.status == 422 and "failed_on" in answer.body


def test_a_job_shows_margins_over_all_links_and_what_is_set_aside(room, inside):
    page = get(room, inside, "/job", job="HARBOUR-2019-04").body
    assert page.count('role="img"') > 4 and "NEXT: smallest margin" in page and "below nought" in page
    assert page.count("<rect") >= 1  # of the failing link
    report = Path(room.archive.parent / "acceptance.pdf")
    told = room.command("check", str(room.archive), "--job", "HARBOUR-2019-04", "--report", str(report), "--quiet")
    assert told == "" and report.read_bytes().startswith(b"%PDF")


def test_documents_of_a_job_are_made_by_the_commands(room, inside):
    import http.client

    base, cookie = inside

    def fetched(method: str, path: str, body: str | None = None) -> tuple[int, bytes]:
        link = http.client.HTTPConnection("127.0.0.1", room.port, timeout=120)
        kind = {"content-type": "application/x-www-form-urlencoded"} if body else {}
        link.request(
            method, base + path, body, {"host": room.host, "cookie": cookie, "sec-fetch-site": "same-origin", **kind}
        )
        answer = link.getresponse()
        return answer.status, answer.read()

    status, report = fetched("GET", "/job/acceptance.pdf?job=HARBOUR-2019-04")
    assert status == 200 and report.startswith(b"%PDF")
    page = get(room, inside, "/job", job="HARBOUR-2019-04").body
    token = page.partition('name="form_token" value="')[2].partition('"')[0]
    status, book = fetched("POST", "/job/book.zip", urlencode({"form_token": token, "job": "HARBOUR-2019-04"}))
    assert status == 200, book[-600:]
    names = zipfile.ZipFile(io.BytesIO(book)).namelist()
    assert any(n.endswith(".pdf") for n in names) and "book/manifest-sha256.txt" in names
    assert fetched("GET", "/job/acceptance.pdf?job=--help")[0] in (404, 422)


def test_units_copies_and_health_say_what_the_commands_say(room, inside):
    recalled = json.loads(room.command("recall", str(room.archive), "--serial", "40-00317", "--json"))
    page = get(room, inside, "/recall", serial="40-00317").body
    assert f"{len(recalled['records'])} link" in page or "No link stands on a test by unit 40-00317." in page
    copied = json.loads(room.command("copies", str(room.archive), "--job", "HARBOUR-2019-04", "--json"))
    page = get(room, inside, "/copies", job="HARBOUR-2019-04").body
    assert f"{copied['compared']} records compared" in page and f"{len(copied['pairs'])} pair" in page
    assert "Nothing was looked at for this page." in get(room, inside, "/health").body
    assert "Sound, as far as names and sizes tell" in get(room, inside, "/health", look="count").body


def test_sign_ins_are_listed_and_ended(room, inside):
    other = room.sign_in()
    assert get(room, other, "/").status == 200
    page = get(room, other, "/sign-ins").body
    assert "(this browser)" in page
    mine = page.partition("(this browser)")[2].partition('name="number" value="')[2].partition('"')[0]
    token = page.partition('name="form_token" value="')[2].partition('"')[0]
    body, kind = urlencode({"form_token": token, "number": mine}).encode(), "application/x-www-form-urlencoded"
    same = {"sec_fetch_site": "same-origin", "cookie": other[1], "content_type": kind}
    assert room.ask(other[0] + "/sign-ins/end", "POST", body, **same).status == 303
    assert get(room, other, "/").status == 401 and get(room, inside, "/").status == 200


def test_a_room_is_found_again_after_a_second_one_was_closed(room, inside):
    """Two rooms of one user on one archive: what is asked for is an address of one that is open."""
    second = Room(room.archive, room.log.parent)
    assert urlsplit(second.command("room", str(room.archive), "--again").strip()).port == second.port
    second.close()
    assert urlsplit(room.command("room", str(room.archive), "--again").strip()).port == room.port


def test_a_search_is_an_address(room, inside):
    page = get(room, inside, "/", q="a0", col="margin:next", order="newest").body
    assert "Margin of NEXT" in page and "Address of this search, to keep" in page and "col=margin%3Anext" in page
    first = get(room, inside, "/", tests="all", verdict="pass")
    assert "1A-A02" not in first.body and "1A-A01" in first.body
    export = get(room, inside, "/find.csv", q="1a-a0", col="margin:next")
    assert export.body.splitlines()[0] == "link,margin:next,record" and len(export.body.splitlines()) == 3
    assert get(room, inside, "/", since="yesterday").status == 422
    assert get(room, inside, "/find/values", name="records").status == 422
    gone = get(room, inside, "/", after="re-none").body
    assert "not among these any more" in gone


def test_every_page_names_a_command_that_is_understood(room, inside):
    """Each is taken apart as the program itself would: its name, arguments and options are there."""
    import html
    import shlex

    import click

    from archive.cli import cli

    record = get(room, inside, "/link", label="1A-A01").body.partition("/proof?record=")[2].partition('"')[0]
    addresses = {
        "/": {"q": "a0", "verdict": "pass", "year": "2019"},
        "/link": {"label": "1A-A01", "job": "HARBOUR-2019-04"},
        "/compare": {"a": record, "b": record},
        "/proof": {"record": record},
        "/jobs": {},
        "/job": {"job": "HARBOUR-2019-04"},
        "/claim": {"label": "1A-A01"},
        "/rates": {"by": "job", "limit": "cat6a"},
        "/trends": {"period": "quarter"},
        "/ready": {"application": "10gbase-t"},
        "/limits": {},
        "/limit": {"id": "tia-568.2-d/cat6a/permanent-link"},
        "/recall": {"serial": "40-00317", "since": "2019"},
        "/copies": {"job": "HARBOUR-2019-04"},
        "/health": {},
        "/sign-ins": {},
        "/help": {},
    }
    for path, query in addresses.items():
        body = get(room, inside, path, **query).body
        said = html.unescape(body.partition("<footer>")[2].partition("<code>")[2].partition("</code>")[0])
        first, *words = shlex.split(said)
        assert first == "muniment" and words, path
        command: click.Command = cli
        parent = click.Context(cli)
        while isinstance(command, click.Group) and not words[0].startswith("-"):
            name, *words = words
            found = command.get_command(parent, name)
            assert found is not None, (path, said)
            command = found
        if words != ["--help"]:
            command.make_context("x", words, parent=parent)  # raises where it does not understand


def test_a_photograph_is_shown_small_and_leaves_as_an_attachment(room, inside, tmp_path):
    import http.client

    from PIL import Image

    shown = tmp_path / "rack.png"
    Image.effect_noise((900, 600), 60).save(shown)
    room.command(
        *("attach", str(room.archive), str(shown), "--job", "HARBOUR-2019-04", "--link", "1A-A01"),
        *("--kind", "photograph"),
    )
    page = get(room, inside, "/link", label="1A-A01").body
    address = page.partition('<img src="/r/')[2].partition('"')[0]
    assert "document/picture?id=" in address and "Small picture of rack.png" in page
    link = http.client.HTTPConnection("127.0.0.1", room.port, timeout=60)
    link.request("GET", "/r/" + address, headers={"host": room.host, "cookie": inside[1]})
    answer = link.getresponse()
    drawn = Image.open(io.BytesIO(answer.read()))
    assert answer.headers["content-type"] == "image/png" and drawn.size == (320, 213)
    document = address.partition("id=")[2]
    link.request("GET", f"{inside[0]}/document?id={document}", headers={"host": room.host, "cookie": inside[1]})
    answer = link.getresponse()
    assert answer.read() == shown.read_bytes() and "sandbox" in answer.headers["content-security-policy"]
    assert answer.headers["content-disposition"].startswith("attachment")
