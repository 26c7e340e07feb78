"""The command ``desk``: the page served on this machine, planned again whenever the scenario changes."""

from __future__ import annotations

import argparse
import secrets
import socket
from importlib.util import find_spec
from typing import TYPE_CHECKING

from ...models.errors import InputError
from ..console import Ended, flush, say
from .planned import there

if TYPE_CHECKING:
    from ..desk.desk import Desk

NEEDED = ("starlette", "uvicorn", "tomlkit")
"""What the extra ``[desk]`` installs, under the names by which it is imported."""


def desk(arguments: argparse.Namespace) -> int:
    """Serve the desk until it is ended by Ctrl-C."""
    lacking = [name for name in NEEDED if find_spec(name) is None]
    if lacking:
        raise InputError(
            f"the desk needs {' and '.join(lacking)}: pip install 'ringwright[desk]'. Without it, ringwright page "
            "writes the page as a file.",
            where="desk",
        )
    there(arguments.scenario)
    from ..desk.desk import Desk

    kept = Desk(
        arguments.scenario,
        arguments.settings,
        time_limit_s=arguments.time_limit,
        memory_bytes=arguments.memory_limit,
    )
    listener = _listener(arguments.port)
    port = listener.getsockname()[1]
    token = secrets.token_urlsafe(24)
    say(
        f"The desk of {arguments.scenario} is at\n\n    http://127.0.0.1:{port}/{token}/\n\n"
        "Open it in a browser on this machine. Ctrl-C ends it; the file is not written.\n"
    )
    flush()
    _serve(kept, listener, port, token)
    return 0


def _listener(port: int) -> socket.socket:
    """A socket on the loopback address. Raises InputError where the port is taken."""
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(("127.0.0.1", port))
        # who comes before the server is ready waits
        listener.listen(64)
    except OSError as fault:
        listener.close()
        raise InputError(
            f"--port {port} cannot be used ({fault.strerror}): give another one, or none for a free one.",
            where="command line",
        ) from None
    return listener


def _serve(kept: Desk, listener: socket.socket, port: int, token: str) -> None:
    import uvicorn

    from ..desk.server import application

    server = uvicorn.Server(
        uvicorn.Config(
            application(kept, port, token),
            # one implementation for all: nothing that happens to be installed takes its place
            http="h11",
            ws="none",
            loop="asyncio",
            lifespan="on",
            log_level="critical",
            access_log=False,
            server_header=False,
            timeout_graceful_shutdown=1,
        )
    )
    try:
        server.run(sockets=[listener])
    except Ended:
        raise
    except KeyboardInterrupt:  # uvicorn passes Ctrl-C on when it has closed: the ordinary end
        return
