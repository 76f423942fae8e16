"""`curevigil run` under a service manager: what it says on the manager's socket, with no broker anywhere near."""

import os
import signal
import socket
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SETTINGS = """
[broker]
address = "127.0.0.1"
port = 1
[[source]]
topic = "rooms/#"
format = "senml"
[stores]
folder = "{folder}"
ballast_mib = 0
[web]
listen = "127.0.0.1:{port}"
public_address = "http://127.0.0.1:{port}"
plain_http = true
"""
PROGRAM = "from api.cli import main; main()"


def test_the_manager_hears_ready_then_signs_of_life_then_stopping(
    tmp_path: Path, free_tcp_port: int, eventually: Callable[..., None]
) -> None:
    config = tmp_path / "curevigil.toml"
    config.write_text(SETTINGS.format(folder=tmp_path / "data", port=free_tcp_port))
    heard: list[str] = []
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line:
        line.bind(str(tmp_path / "notify"))
        line.setblocking(False)

        def hears(words: str, count: int) -> bool:
            try:
                heard.append(line.recv(4096).decode())
            except BlockingIOError:
                pass
            assert child.poll() is None or words == "STOPPING=1", "it ended by itself"
            return sum(words in one for one in heard) >= count

        told = {"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "600000"}
        child = subprocess.Popen(
            [sys.executable, "-c", PROGRAM, "run", "--config", str(config)],
            cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT), **told},
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        try:
            eventually(lambda: hears("READY=1", 1), "it has begun", 60.0)
            # The broker is away all the while, which is no reason to be started anew.
            eventually(lambda: hears("WATCHDOG=1", 4), "it goes on", 30.0)
            assert heard[0].startswith("READY=1")
            child.send_signal(signal.SIGTERM)
            eventually(lambda: hears("STOPPING=1", 1), "it says that it stops", 30.0)
            assert child.wait(30.0) == 0
        finally:
            child.kill()
            child.wait()
