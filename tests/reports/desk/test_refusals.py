"""What the desk refuses: other hosts and origins, no token, what is too large, whatever names a file."""

from __future__ import annotations

import http.client
import signal
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from ringwright.reports.desk.guard import ADDRESS_MOST, BODY_MOST
from ringwright.tests.reports.desk.running import SMALL, Served, served


@pytest.fixture(scope="module")
def desk(file: Path) -> Iterator[Served]:
    with served(file) as running:
        yield running


def test_its_own_page_is_let_in(desk: Served) -> None:
    status, page = desk.ask("GET", f"/{desk.token}/")
    assert status == 200
    assert 'id="desk"' in page
    assert desk.post("change", {"key": "ring.slots", "value": "2"})["wrong"] == ""


@pytest.mark.parametrize(
    ("headers", "reason"),
    [
        ({"Host": "ring.example:8000"}, "host"),
        ({"Host": "127.0.0.1"}, "host"),
        ({"Host": ""}, "host"),
        ({"Origin": "http://ring.example"}, "origin"),
        ({"Origin": "null"}, "origin"),
        ({"Origin": "https://127.0.0.1:{port}"}, "origin"),
        ({"Origin": "http://127.0.0.1:1"}, "origin"),
        ({"Origin": ""}, "own page"),
        ({"Sec-Fetch-Site": "cross-site"}, "site"),
    ],
)
def test_another_host_or_origin_is_refused(desk: Served, headers: dict[str, str], reason: str) -> None:
    headers = {name: value.format(port=desk.port) for name, value in headers.items()}
    before = desk.ask("GET", f"/{desk.token}/scenario")
    status, said = desk.ask("POST", f"/{desk.token}/change", {"key": "ring.slots", "value": "7"}, headers)
    # without a host the server itself answers that this is no request
    assert status == (400 if headers.get("Host") == "" else 403)
    assert reason in said or status == 400
    assert desk.ask("GET", f"/{desk.token}/scenario") == before


@pytest.mark.parametrize("where", ["/", "/scenario", "/{token}x/", "/x{token}/", "/%2e%2e/{token}/", "//{token}/"])
def test_without_the_token_nothing_is_answered(desk: Served, where: str) -> None:
    status, said = desk.ask("GET", where.format(token=desk.token))
    assert status == 403
    assert desk.token not in said
    assert "Quill" not in said


def test_an_address_or_a_body_that_is_too_large_is_refused(desk: Served) -> None:
    where = f"/{desk.token}/change"
    assert desk.ask("GET", f"/{desk.token}/{'x' * ADDRESS_MOST}")[0] == 414
    assert desk.ask("GET", f"/{desk.token}/?{'x' * ADDRESS_MOST}")[0] == 414
    assert desk.ask("POST", where, raw=b"x" * (BODY_MOST + 1))[0] == 413
    # a body that does not say its length, and one that says a huge one and is not sent
    chunked = b"%x\r\n%s\r\n0\r\n\r\n" % (BODY_MOST + 1, b"x" * (BODY_MOST + 1))
    assert (
        desk.ask("POST", where, headers={"Content-Length": "", "Transfer-Encoding": "chunked"}, raw=chunked)[0] == 413
    )
    assert desk.ask("POST", where, headers={"Content-Length": str(10**12)})[0] == 413
    assert desk.ask("POST", where, {"key": "ring.slots", "value": "9" * 300})[0] == 400


@pytest.mark.parametrize(
    "raw", [b"", b"[]", b"{", b'{"key": "ring.slots"}', b'{"key": 1, "value": "2"}', b"[" * 9000, b"\xff\xfe"]
)
def test_what_is_no_change_is_refused(desk: Served, raw: bytes) -> None:
    assert desk.ask("POST", f"/{desk.token}/change", raw=raw)[0] == 400


def test_other_ways_of_asking_are_refused(desk: Served) -> None:
    for method in ("PUT", "DELETE", "OPTIONS", "TRACE"):
        assert desk.ask(method, f"/{desk.token}/change")[0] == 405
    text = {"Content-Type": "text/plain"}
    assert desk.ask("POST", f"/{desk.token}/change", {"key": "ring.slots", "value": "2"}, text)[0] == 415
    assert desk.ask("GET", f"/{desk.token}/change")[0] == 405


@pytest.mark.parametrize("key", ["file", "title", "craft[0].name", "body.name", "../ring.slots", "ring.altitude_km "])
def test_a_key_that_is_not_on_the_list_is_refused(desk: Served, key: str) -> None:
    status, said = desk.ask("POST", f"/{desk.token}/change", {"key": key, "value": "/etc/hostname"})
    assert status == 400
    assert "cannot be changed here" in said


@pytest.mark.parametrize(
    "value", ["/etc/hostname", "../../two.toml", "file:///etc/hostname", '"/etc/hostname"', "two.toml"]
)
def test_a_path_in_a_field_is_no_value(desk: Served, file: Path, value: str) -> None:
    before = desk.ask("GET", f"/{desk.token}/scenario")
    for key in ("ring.altitude_km", "limits.finish_within_d", "goal.minimize"):
        assert desk.post("change", {"key": key, "value": value})["wrong"]
    for field in ("around", "ring", "got"):
        asked = {"ring": "900km", "around": "mars", "slot-ahead": "86deg", field: value}
        assert desk.post("period", asked)["field"] == field
    for field in ("save", "all", "path"):
        assert "is no field of this form" in desk.post("period", {field: value})["wrong"]
    assert desk.ask("GET", f"/{desk.token}/scenario") == before
    assert file.read_text(encoding="utf-8") == SMALL
    assert [one.name for one in file.parent.iterdir()] == ["two.toml"]


def test_it_listens_on_the_loopback_address_alone(desk: Served) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1, RFC 5737: nothing is sent
        except OSError:
            pytest.skip("this machine has no other address")
        other = probe.getsockname()[0]
    if other.startswith("127."):
        pytest.skip("this machine has no other address")
    with pytest.raises(OSError, match=r"refused|timed out"):
        socket.create_connection((other, desk.port), timeout=2).close()


def test_answers_are_kept_nowhere_and_shown_nowhere_else(desk: Served) -> None:
    connection = http.client.HTTPConnection("127.0.0.1", desk.port, timeout=20)
    connection.request("GET", f"/{desk.token}/")
    answer = connection.getresponse()
    assert answer.getheader("cache-control") == "no-store"
    assert answer.getheader("referrer-policy") == "no-referrer"
    assert "frame-ancestors 'none'" in (answer.getheader("content-security-policy") or "")
    assert answer.getheader("access-control-allow-origin") is None
    connection.close()


@pytest.mark.parametrize(
    ("sent", "status", "said"), [(signal.SIGINT, 0, ""), (signal.SIGTERM, 130, "ended by SIGTERM")]
)
def test_it_ends_when_asked_to_while_a_tab_listens(file: Path, sent: signal.Signals, status: int, said: str) -> None:
    with served(file) as desk:
        connection = http.client.HTTPConnection("127.0.0.1", desk.port, timeout=20)
        connection.request("GET", f"/{desk.token}/news")
        assert connection.getresponse().readline().startswith(b'data: {"file": "two.toml"')
        desk.process.send_signal(sent)
        assert desk.process.wait(timeout=20) == status
        assert desk.process.stderr is not None
        stderr = desk.process.stderr.read()
        assert stderr == "" if not said else said in stderr and stderr.count("\n") == 1
        connection.close()
