"""Time stamps over twenty years: certificates that end, are revoked, are renewed; several authorities."""

from __future__ import annotations

import subprocess
import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest
from click.testing import CliRunner
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from store_making import batch, deposit, rows
from test_keys import Authority

from archive.cli import cli
from archive.errors import Trouble
from archive.store import Archive
from archive.store.events.stamps import due, keep_stamp
from archive.store.fixity import fixity
from archive.store.keys import stamp
from archive.store.proofs import holds, prove, verify

ENDED = datetime(2021, 1, 1, tzinfo=UTC)


@pytest.fixture(scope="module")
def ended() -> Authority:
    """An authority whose certificate ended years ago."""
    return Authority(ends=ENDED)


@pytest.fixture(scope="module")
def lasting() -> Authority:
    return Authority()


def token_at(archive: Archive, authority: Authority, at: str) -> tuple[bytes, bytes]:
    """What is stamped of today's head, and a stamp of it that gives a time."""
    head = archive.head()
    message = stamp.message(archive.id, head.size, head.root)
    return message, authority.answer(stamp.request(message), at)


def test_a_stamp_made_before_its_certificate_ended_holds_for_good(archive: Archive, ended: Authority) -> None:
    message, token = token_at(archive, ended, "20200601120000Z")
    judged = stamp.judge(token, message, [ended.pem])
    assert judged.holds is True and judged.when == " at 2020-06-01T12:00:00Z"
    assert "ended on 2021-01-01, after it was made" in judged.said
    assert "ended on 2021-01-01" in stamp.judge(token, message, []).said


def test_a_stamp_made_after_its_certificate_had_ended_does_not_hold(archive: Archive, ended: Authority) -> None:
    message, token = token_at(archive, ended, "20220601120000Z")
    for roots in ([], [ended.pem]):
        judged = stamp.judge(token, message, roots)
        assert judged.holds is False and "had ended on 2021-01-01" in judged.said
    message, token = token_at(archive, ended, "20190601120000Z")
    assert stamp.judge(token, message, []).holds is False, "before it began"
    with pytest.raises(Trouble, match="not one of this head"):
        head = archive.head()
        keep_stamp(archive, head, token, {}, by=None)


def test_openssl_judges_both_the_same(archive: Archive, ended: Authority, tmp_path: Path) -> None:
    (tmp_path / "root.pem").write_bytes(ended.pem)
    for at, seconds, good in (("20200601120000Z", 1591012800, True), ("20220601120000Z", 1654084800, False)):
        message, token = token_at(archive, ended, at)
        (tmp_path / "head").write_bytes(message)
        (tmp_path / "answer.tsr").write_bytes(token)
        command = ["openssl", "ts", "-verify", "-in", "answer.tsr", "-CAfile", "root.pem", "-data", "head"]
        command += ["-attime", str(seconds)]
        made = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
        assert ("Verification: OK" in made.stdout + made.stderr) is good, made.stderr
        assert stamp.judge(token, message, [ended.pem]).holds is good


def revocations(by: Authority, of: Authority, on: datetime) -> bytes:
    """A list of revoked certificates that says when the authority's was revoked."""
    entry = x509.RevokedCertificateBuilder().serial_number(of.certificate.serial_number).revocation_date(on).build()
    made = x509.CertificateRevocationListBuilder().issuer_name(by.root.subject).last_update(on)
    signed = made.next_update(on + timedelta(days=30)).add_revoked_certificate(entry)
    return signed.sign(by.root_key, hashes.SHA256()).public_bytes(serialization.Encoding.PEM)


def test_a_revoked_certificate_counts_from_the_day_on_which_it_was_revoked(
    archive: Archive, lasting: Authority
) -> None:
    message, token = token_at(archive, lasting, "20260601120000Z")
    before, after = datetime(2026, 5, 1, tzinfo=UTC), datetime(2026, 7, 1, tzinfo=UTC)
    revoked = stamp.judge(token, message, [lasting.pem], [revocations(lasting, lasting, before)])
    assert revoked.holds is False and "revoked on 2026-05-01" in revoked.said
    assert stamp.judge(token, message, [lasting.pem], [revocations(lasting, lasting, after)]).holds is True
    stranger = revocations(Authority(), lasting, before)
    assert stamp.judge(token, message, [lasting.pem], [stranger]).holds is True, "a list of somebody else's"
    with pytest.raises(Trouble, match="no list"):
        stamp.judge(token, message, [lasting.pem], [b"nothing"])


def test_chain_root_and_revocations_are_kept_and_travel_with_the_proof(archive: Archive, lasting: Authority) -> None:
    made = deposit(archive, batch(rows()))
    assert made.entry is not None
    _, token = token_at(archive, lasting, "20261125120000Z")
    lists = revocations(lasting, lasting, datetime(2027, 1, 1, tzinfo=UTC))
    kept = keep_stamp(
        archive, archive.head(), token, {}, rests_on=[("root-1.pem", lasting.pem), ("revoked-1.crl", lists)], by=None
    )
    names = {path.rpartition("/")[2] for path in kept.files}
    assert {"head.tsr", "chain.pem", "root-1.pem", "revoked-1.crl"} <= names
    proof = prove(archive, f"{made.entry['deposit']}/0")
    assert set(proof["stamps"][0]["rests_on"]) == {"chain.pem", "root-1.pem", "revoked-1.crl"}
    assert holds(verify(proof, roots=[lasting.pem]))
    assert fixity(archive, "deep").sound
    victim = archive.root / next(p for p in kept.files if p.endswith(".tsr"))
    victim.chmod(0o600)
    victim.write_bytes(b"damaged")
    assert prove(archive, f"{made.entry['deposit']}/0")["stamps"] == [], "damage elsewhere stops no proof"
    assert not fixity(archive).sound


@pytest.fixture
def served(lasting: Authority) -> Iterator[str]:
    """Address of an authority on this machine."""

    class Answer(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            asked = self.rfile.read(int(self.headers["Content-Length"]))
            data = lasting.answer(asked)
            self.send_response(200)
            self.send_header("Content-Length", str(len(data)))
            self.end_headers()
            self.wfile.write(data)

        def log_message(self, *given: object) -> None:
            pass

    server = HTTPServer(("127.0.0.1", 0), Answer)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}/"
    server.shutdown()
    server.server_close()


def test_a_stamp_is_renewed_before_its_certificate_ends(
    archive: Archive, served: str, ended: Authority, tmp_path: Path
) -> None:
    _, token = token_at(archive, ended, "20200601120000Z")
    old = keep_stamp(archive, archive.head(), token, {"authority": served}, by=None)
    assert old["ends"] == "2021-01-01"
    assert [e.number for e in due(archive, 90, datetime(2020, 12, 1, tzinfo=UTC))] == [old.number]
    assert due(archive, 90, datetime(2020, 6, 1, tzinfo=UTC)) == []
    run = CliRunner()
    root = tmp_path / "root.pem"
    root.write_bytes(ended.pem)
    made = run.invoke(cli, ["stamp", str(archive.root), "--renew", "--root", str(root), "--json"])
    assert made.exit_code == 0, made.output
    assert f'"renewed": [\n    {old.number}\n  ]' in made.output
    again = run.invoke(cli, ["stamp", str(archive.root), "--renew"])
    assert again.exit_code == 0 and "nothing to renew" in again.output
    several = run.invoke(cli, ["stamp", str(archive.root), "--authority", served, "--authority", f"{served}two"])
    assert several.exit_code == 0 and several.output.count("stamped at") == 2, several.output
    stamps = [e for e in archive.entries() if e.get("event") == "stamp"]
    assert len(stamps) == 4 and len({e["root"] for e in stamps[2:]}) == 1, "two stamps of one head"
    assert fixity(archive).sound
