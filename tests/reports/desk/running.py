"""A desk as a user runs it: the command in its own process, found by the address that it prints."""

from __future__ import annotations

import http.client
import json
import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from ringwright.reports.desk.desk import LOOK_EVERY_S
from ringwright.tests.test_cli import SMALL as TWO_OVER_QUILL

SMALL = TWO_OVER_QUILL.replace("altitude_km = 2500.0", "altitude_km = 2500.0 # above the plains", 1)
"""A scenario with a remark, which saving keeps."""


@dataclass(frozen=True, kw_only=True)
class Served:
    """A desk that runs: its address and its process."""

    address: str
    process: subprocess.Popen[str]

    @property
    def port(self) -> int:
        port = urlsplit(self.address).port
        assert port is not None
        return port

    @property
    def token(self) -> str:
        return urlsplit(self.address).path.strip("/")

    def ask(
        self, method: str, where: str, body: object = None, headers: dict[str, str] | None = None, raw: bytes = b""
    ) -> tuple[int, str]:
        """Send a request as the desk's own page would, but for the headers given; status and text of the answer."""
        own = {"Host": f"127.0.0.1:{self.port}"}
        if method == "POST":
            own |= {"Origin": f"http://127.0.0.1:{self.port}", "Content-Type": "application/json"}
        own |= headers or {}
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        try:
            connection.putrequest(method, where, skip_host=True, skip_accept_encoding=True)
            sent = raw or (json.dumps(body).encode() if body is not None else b"")
            for name, value in ({"Content-Length": str(len(sent))} | own).items():
                if value:
                    connection.putheader(name, value)
            connection.endheaders(sent)
            answer = connection.getresponse()
            return answer.status, answer.read().decode()
        finally:
            connection.close()

    def reset(self, file: Path) -> None:
        """Put everything back to how it was at first: the file, and every field."""
        from ringwright.reports.desk.fields import KEYS

        if file.read_text(encoding="utf-8") != SMALL:
            file.write_text(SMALL, encoding="utf-8")
            time.sleep(3.0 * LOOK_EVERY_S)
        for key in KEYS:
            assert self.post("change", {"key": key, "value": ""})["wrong"] == ""

    def post(self, name: str, body: object) -> Any:
        status, text = self.ask("POST", f"/{self.token}/{name}", body)
        assert status == 200, text
        return json.loads(text)


@contextmanager
def served(file: Path, *options: str) -> Iterator[Served]:
    """Run a desk until the end of the block; it must have ended by itself then, or end within seconds."""
    process = subprocess.Popen(
        [sys.executable, "-m", "ringwright", "desk", str(file), *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    assert process.stdout is not None
    said = ""
    while "http://" not in said:
        line = process.stdout.readline()
        if not line:
            assert process.stderr is not None
            raise AssertionError(process.stderr.read())
        said += line
    found = re.search(r"http://127\.0\.0\.1:\d+/\S+/", said)
    assert found is not None
    try:
        yield Served(address=found.group(), process=process)
    finally:
        process.terminate()
        process.communicate(timeout=20)
