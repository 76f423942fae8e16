"""What is shipped for a real installation is taken by the programs it is meant for."""

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.service
def test_the_shipped_broker_configuration_starts_and_refuses_strangers(
    tmp_path: Path, eventually: Callable[..., None], absent: Callable[[str, str], None], free_tcp_port: int
) -> None:
    program = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin")
    if program is None:
        absent("mosquitto", "apt-get install mosquitto")
    assert program is not None
    (tmp_path / "passwords").write_text("")
    said = (ROOT / "deploy" / "mosquitto.conf").read_text(encoding="utf-8")
    said = said.replace("listener 1883", f"listener {free_tcp_port} 127.0.0.1")
    said = said.replace("/etc/mosquitto/passwords", str(tmp_path / "passwords"))
    said = said.replace("/var/lib/mosquitto/", f"{tmp_path}/")
    (tmp_path / "mosquitto.conf").write_text(f"{said}\nuser root\n")
    broker = subprocess.Popen([program, "-c", str(tmp_path / "mosquitto.conf")], stderr=subprocess.DEVNULL)
    answers: list[str] = []
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.on_connect = lambda *given: answers.append(str(given[3]))
    try:

        def refused() -> bool:
            assert broker.poll() is None, "the broker did not take its configuration"
            try:
                client.connect("127.0.0.1", free_tcp_port)
            except OSError:
                return False
            client.loop(timeout=1.0)
            client.loop(timeout=1.0)
            return bool(answers)

        eventually(refused, "the broker answers")
        assert answers[0] == "Not authorized"
    finally:
        client.disconnect()
        broker.terminate()
        broker.wait(timeout=10)
