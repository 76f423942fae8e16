"""Tells the service manager that the program has begun, goes on, or stops: one datagram each, as sd_notify(3) says."""

import logging
import os
import socket
from collections.abc import Mapping

log = logging.getLogger(__name__)

READY, GOES_ON, STOPPING = "READY=1", "WATCHDOG=1", "STOPPING=1"
SEND_S = 1.0
PINGS = 3
"""House: so many signs of life fit into what the manager waits for; half of it is what sd_watchdog_enabled(3) says."""


class Supervisor:
    """The manager's socket: a path, or after an @ a name without a file (the abstract names of Linux).

    `patience_s` is how long the manager waits for the next sign of life; None where it waits for none.
    """

    def __init__(self, address: str, patience_s: float | None = None) -> None:
        self.patience_s = patience_s
        self._address = f"\0{address[1:]}" if address.startswith("@") else address
        self._complained = False

    @property
    def every_s(self) -> float | None:
        """Return how often a sign of life should go out; None where nobody waits for one. [s]"""
        return None if self.patience_s is None else self.patience_s / PINGS

    def say(self, words: str) -> None:
        """Send one message. A manager that cannot be reached is complained of once, and stops nothing."""
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | getattr(socket, "SOCK_CLOEXEC", 0)) as line:
                line.settimeout(SEND_S)
                line.connect(self._address)
                line.sendall(words.encode())
        except OSError as fault:
            if not self._complained:
                log.warning("event=manager_not_told words=%s fault=%r", words, str(fault))
            self._complained = True


def supervisor_of(environ: Mapping[str, str], pid: int | None = None) -> Supervisor | None:
    """Return the manager that started this process, or None where nobody waits to be told.

    A watchdog meant for another process (WATCHDOG_PID) is not answered.
    """
    address = environ.get("NOTIFY_SOCKET", "")
    if not address.startswith(("/", "@")) or len(address) < 2:
        return None
    mine = environ.get("WATCHDOG_PID", "") in ("", str(os.getpid() if pid is None else pid))
    try:
        patience_s = int(environ.get("WATCHDOG_USEC", "0")) / 1e6
    except ValueError:
        patience_s = 0.0
    return Supervisor(address, patience_s if mine and patience_s > 0 else None)
