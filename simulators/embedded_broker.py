"""A small MQTT 3.1.1 broker in a thread of this process, for demos and tests. No promise about readings rests on it.

It speaks 3.1.1 only (a client of MQTT 5 is hung up on without an answer), keeps nothing over a restart, keeps a session
only for clients that gave a password, does not send again what a client had received but not acknowledged, and forgets
what it has acknowledged but not yet passed on when its publisher hangs up.
"""

import asyncio
import logging
import secrets
import socket
import tempfile
import threading
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from amqtt.broker import Broker
from amqtt.contexts import Action
from amqtt.errors import BrokerError
from amqtt.plugins.base import BaseTopicPlugin
from amqtt.session import Session
from pwdlib.hashers.argon2 import Argon2Hasher

LOG = logging.getLogger(__name__)
COLLECTOR, KITCHEN = "collector", "kitchen"
OWN = "curevigil/"
"""Where the program writes of itself."""
LOOPBACK = "127.0.0.1"
TRIES = 5
START_S, STOP_S = 20.0, 20.0


class EmbeddedBrokerError(Exception):
    """The broker did not start or did not stop; the reason is in the message."""


@dataclass(frozen=True, slots=True)
class Credentials:
    """What one client signs in with; the password was made for this run alone."""

    username: str
    password: str

    def __repr__(self) -> str:
        return f"Credentials(username={self.username!r}, password=…)"


class OneWay(BaseTopicPlugin):  # type: ignore[misc]  # amqtt ships no types
    """Lets the kitchen only publish, and the collector only listen and say how it does itself."""

    async def topic_filtering(
        self, *, session: Session | None = None, topic: str | None = None, action: Action | None = None
    ) -> bool:
        user = session.username if session is not None else None
        if user == COLLECTOR and action is Action.PUBLISH:
            return (topic or "").startswith(OWN)
        return bool(user == (KITCHEN if action is Action.PUBLISH else COLLECTOR))


class TidyBroker(Broker):  # type: ignore[misc]  # amqtt ships no types
    """Closes every connection that it has done with; some it would leave to the garbage collector."""

    async def stream_connected(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, listener_name: str
    ) -> None:
        try:
            await super().stream_connected(reader, writer, listener_name)
        finally:
            writer.close()


class EmbeddedBroker:
    """A broker on a loopback port, from entering the context until leaving it.

    Two users exist: `collector` may listen, and publish below `curevigil/`; `kitchen` may only publish.
    """

    def __init__(self, port: int = 0) -> None:
        self.host = LOOPBACK
        self.port = port
        self.collector = Credentials(COLLECTOR, secrets.token_urlsafe(24))
        self.kitchen = Credentials(KITCHEN, secrets.token_urlsafe(24))
        self._loop: asyncio.AbstractEventLoop | None = None
        self._thread: threading.Thread | None = None
        self._broker: Broker | None = None

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    def start(self) -> None:
        """Start it; return once it listens. With port 0 a free one is found. Raises EmbeddedBrokerError."""
        # It tells of every client that goes away as a warning, and asks for nobody's attention by it.
        for name in ("amqtt", "transitions"):
            logging.getLogger(name).setLevel(logging.CRITICAL)
        self._loop = asyncio.new_event_loop()
        self._loop.set_exception_handler(_note)
        self._thread = threading.Thread(target=self._turn, args=(self._loop,), name="embedded-broker", daemon=True)
        self._thread.start()
        try:
            self._broker = self._listening()
        except BaseException:
            self._end_loop()
            raise
        LOG.info("event=broker_started host=%s port=%d", self.host, self.port)

    def _listening(self) -> Broker:
        wanted = self.port
        for left in reversed(range(TRIES)):
            self.port = wanted or _free_port()
            try:
                return self._wait_for(self._started(), START_S)
            except (BrokerError, TimeoutError) as error:
                # Between finding a free port and listening on it, somebody else may have taken it.
                if wanted or not left:
                    raise EmbeddedBrokerError(f"no broker on {self.host}:{self.port}: {error}") from error
        raise AssertionError("the last try returns or raises")

    def stop(self) -> None:
        """Stop it and forget every session; does nothing if it does not run. Raises EmbeddedBrokerError."""
        broker, self._broker = self._broker, None
        if broker is None:
            return
        try:
            self._wait_for(broker.shutdown(), STOP_S)
        except (BrokerError, TimeoutError) as error:
            raise EmbeddedBrokerError(f"the broker on port {self.port} did not stop: {error!r}") from error
        finally:
            self._end_loop()
        LOG.info("event=broker_stopped port=%d", self.port)

    @staticmethod
    def _turn(loop: asyncio.AbstractEventLoop) -> None:
        asyncio.set_event_loop(loop)
        loop.run_forever()
        left = asyncio.all_tasks(loop)
        for task in left:
            task.cancel()
        loop.run_until_complete(asyncio.gather(*left, return_exceptions=True))
        # A closed connection lets go of its socket one turn of the loop later.
        loop.run_until_complete(asyncio.sleep(0))
        loop.run_until_complete(loop.shutdown_asyncgens())
        loop.close()

    def _wait_for(self, work: Any, timeout_s: float) -> Any:
        assert self._loop is not None
        return asyncio.run_coroutine_threadsafe(work, self._loop).result(timeout_s)

    def _end_loop(self) -> None:
        if self._loop is not None and self._thread is not None:
            self._loop.call_soon_threadsafe(self._loop.stop)
            self._thread.join(STOP_S)
        self._loop = self._thread = None

    async def _started(self) -> Broker:
        with tempfile.TemporaryDirectory(prefix="curevigil-broker-") as folder:
            passwords = Path(folder, "passwords")
            passwords.touch(mode=0o600)
            # Passwords of 192 random bits need no slow hash.
            hasher = Argon2Hasher(time_cost=1, memory_cost=1024, parallelism=1)
            lines = [f"{user.username}:{hasher.hash(user.password)}\n" for user in (self.collector, self.kitchen)]
            passwords.write_text("".join(lines), encoding="utf-8")
            broker = TidyBroker(self._configuration(passwords))
            await broker.start()
        return broker

    def _configuration(self, passwords: Path) -> dict[str, Any]:
        return {
            "listeners": {"default": {"type": "tcp", "bind": f"{self.host}:{self.port}"}},
            "plugins": {
                "amqtt.plugins.authentication.FileAuthPlugin": {"password_file": str(passwords)},
                f"{OneWay.__module__}.{OneWay.__name__}": {},
            },
        }


def _note(loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
    """Log in one line what the broker lets fall, such as a client of MQTT 5 that hangs up before it is answered."""
    LOG.debug("event=broker_complaint message=%r exception=%r", context.get("message"), context.get("exception"))


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        return int(probe.getsockname()[1])
