"""A room that other machines reach: TLS, names and passwords; nothing else is let in."""

from __future__ import annotations

import hashlib
import http.client
import ssl
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.parse import urlencode

import pytest

from archive.errors import Trouble
from archive.room import users
from tests.room.serving import environment

PASSWORD = "a long invented password"


def test_a_user_is_known_by_his_password_and_the_file_holds_only_a_hash(tmp_path: Path):
    """Against hashlib's scrypt, written out again here (RFC 7914)."""
    place = tmp_path / "users.toml"
    users.add(place, "ostrander", "read", PASSWORD)
    assert oct(place.stat().st_mode & 0o777) == "0o600" and PASSWORD not in place.read_text()
    known = users.load(place)
    salt, _, digest = known.known["ostrander"].scrypt.partition(":")
    again = hashlib.scrypt(PASSWORD.encode(), salt=bytes.fromhex(salt), n=65536, r=8, p=1, maxmem=1 << 28, dklen=32)
    assert again.hex() == digest
    assert known.check("ostrander", PASSWORD) == "read"
    assert known.check("ostrander", PASSWORD + "x") is None and known.check("nobody", PASSWORD) is None


def test_a_file_that_others_may_read_is_refused(tmp_path: Path):
    place = tmp_path / "users.toml"
    users.add(place, "a", "read", PASSWORD)
    place.chmod(0o644)
    with pytest.raises(Trouble, match="others may read"):
        users.load(place)
    with pytest.raises(Trouble, match="too short"):
        users.add(place, "a", "read", "short")
    with pytest.raises(Trouble, match="no such file"):
        users.load(tmp_path / "nowhere.toml")


def test_wrong_answers_slow_a_name_down_and_ban_nobody(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    now = [0.0]
    monkeypatch.setattr("archive.room.users.time.monotonic", lambda: now[0])
    known = users.Users({})
    for _ in range(3):
        assert known.wait("a") == 0
        known.note("a", right=False)
    assert known.wait("a") > 0 and known.wait("b") == 0
    for _ in range(40):
        known.note("a", right=False)
    assert known.wait("a") <= 30
    now[0] = 31.0
    assert known.wait("a") == 0
    known.note("a", right=True)
    known.note("a", right=False)
    assert known.wait("a") == 0


def certificate(folder: Path) -> tuple[Path, Path]:
    """A certificate of our own for room.example, and its key."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import NameOID

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "room.example")])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName("room.example")]), critical=False)
        .sign(key, hashes.SHA256())
    )
    chain, private = folder / "c.pem", folder / "k.pem"
    chain.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    form = serialization.PrivateFormat.PKCS8
    private.write_bytes(key.private_bytes(serialization.Encoding.PEM, form, serialization.NoEncryption()))
    return chain, private


def test_others_come_in_by_tls_and_password_alone(shelf: Path, tmp_path: Path):
    chain, key = certificate(tmp_path)
    users.add(tmp_path / "users.toml", "ostrander", "read", PASSWORD)
    words = ["--host", "127.0.0.1", "--name", "room.example", "--certificate", str(chain), "--key", str(key)]
    words += ["--users", str(tmp_path / "users.toml")]
    process = subprocess.Popen(
        [sys.executable, "-c", "from archive.cli import main; main()", "room", str(shelf), *words],
        env=environment(shelf.parent),
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    try:
        assert process.stdout is not None
        address = process.stdout.readline().strip()
        assert address.startswith("https://room.example:") and address.endswith("/sign-in")
        port = int(address.split(":")[2].partition("/")[0])
        trusted = ssl.create_default_context(cafile=str(chain))
        trusted.check_hostname = False  # the socket leads to 127.0.0.1, whatever the name
        host = f"room.example:{port}"

        def ask(method: str, target: str, body: str | None = None, **headers: str) -> http.client.HTTPResponse:
            link = http.client.HTTPSConnection("127.0.0.1", port, context=trusted, timeout=20)
            kind = {"content-type": "application/x-www-form-urlencoded"} if body else {}
            link.request(method, target, body, {"host": host, **kind, **headers})
            return link.getresponse()

        same = {"sec-fetch-site": "same-origin", "origin": f"https://{host}"}
        assert "Password" in ask("GET", "/sign-in").read().decode()
        assert ask("GET", "/").headers["location"] == "/sign-in"
        wrong = urlencode({"name": "ostrander", "password": "wrong"})
        right = urlencode({"name": "ostrander", "password": PASSWORD})
        assert ask("POST", "/sign-in", wrong, **same).status == 401
        assert ask("POST", "/sign-in", right).status == 403  # not our page's form
        opened = ask("POST", "/sign-in", right, **same)
        cookie = opened.headers["set-cookie"]
        assert opened.status == 303 and "secure" in cookie.casefold()
        base = opened.headers["location"].rstrip("/")
        signed = {"cookie": cookie.partition(";")[0]}
        assert "1A-A01" in ask("GET", base + "/", **signed).read().decode()
        assert ask("POST", base + "/sign-out", "x=1", **signed, **same).status == 303
        assert ask("GET", base + "/", **signed).headers["location"] == "/sign-in"
        link = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
        with pytest.raises((http.client.HTTPException, OSError)):
            link.request("GET", "/", headers={"host": host})
            link.getresponse()
    finally:
        process.terminate()
        process.wait(20)


@pytest.mark.parametrize("missing", ["--certificate", "--users", "--name"])
def test_without_tls_users_or_a_name_nobody_else_is_served(shelf: Path, tmp_path: Path, missing: str):
    given = {"--name": "room.example", "--certificate": "c.pem", "--key": "k.pem", "--users": "u.toml"}
    words = [w for name, value in given.items() if name != missing for w in (name, value)]
    run = subprocess.run(
        [sys.executable, "-c", "from archive.cli import main; main()", "room", str(shelf), "--host", "0.0.0.0", *words],
        env=environment(shelf.parent),
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 2 and "needs TLS, users" in run.stderr and "--add-user" in run.stderr
    assert not run.stdout
