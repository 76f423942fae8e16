"""What is shipped for a real installation is taken by the programs it is meant for."""

import shlex
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import click
import paho.mqtt.client as paho
import pytest
import yaml
from paho.mqtt.enums import CallbackAPIVersion

from api.cli import main

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


def container_files() -> dict[str, str]:
    return {name: (ROOT / "deploy" / name).read_text(encoding="utf-8") for name in ("compose.yaml", "Containerfile")}


def test_the_compose_file_names_only_what_it_describes_and_gives_nobody_more_than_needed() -> None:
    text = container_files()["compose.yaml"]
    described = yaml.safe_load(text)
    services = described["services"]
    used_secrets = {name for service in services.values() for name in service.get("secrets", ())}
    volumes = {v.partition(":")[0] for service in services.values() for v in service.get("volumes", ())}
    assert used_secrets == set(described["secrets"])
    assert {v for v in volumes if not v.startswith(".")} == set(described["volumes"])
    files = {str(secret["file"]).removeprefix("./") for secret in described["secrets"].values()}
    assert sorted(name for name in files if f"#   {name} " not in text) == []
    images = [service["image"] for service in services.values() if "image" in service]
    assert all(not image.endswith(":latest") and ":" in image for image in images)
    lasting = [name for name, service in services.items() if service["restart"] == "always"]
    assert lasting == ["broker", "influx", "curevigil"]
    assert all("no-new-privileges:true" in services[name]["security_opt"] for name in lasting)
    # The service never waits for InfluxDB: readings are taken without it.
    assert list(services["curevigil"]["depends_on"]) == ["broker"]
    published = [port for service in services.values() for port in service.get("ports", ())]
    assert published == ["1883:1883", "127.0.0.1:8443:8443"]


def test_the_container_file_copies_what_exists_and_runs_as_nobody_of_rank() -> None:
    lines = container_files()["Containerfile"].splitlines()
    copied = [
        word for line in lines if line.startswith("COPY ") and "--from" not in line for word in line.split()[1:-1]
    ]
    assert [name for name in copied if not (ROOT / name).exists()] == []
    allowed = (ROOT / "deploy" / "Containerfile.dockerignore").read_text(encoding="utf-8").splitlines()
    assert sorted(copied) == sorted(line.removeprefix("!") for line in allowed if line.startswith("!"))
    last_stage = lines[max(i for i, line in enumerate(lines) if line.startswith("FROM ")) :]
    users = [line.split()[1] for line in last_stage if line.startswith("USER ")]
    assert users == ["10001:10001"]


@pytest.mark.parametrize("unit", ["curevigil.service", "curevigil-mind.service"])
def test_a_shipped_service_starts_a_command_that_there_is_with_options_that_it_takes(unit: str) -> None:
    said = (ROOT / "deploy" / unit).read_text(encoding="utf-8")
    (line,) = [line for line in said.splitlines() if line.startswith("ExecStart=")]
    program, name, *words = shlex.split(line.removeprefix("ExecStart="))
    assert program.endswith("/bin/curevigil")
    command = main.get_command(click.Context(main), name)
    assert command is not None
    with command.make_context(name, words) as context:
        assert context.params["config"].is_absolute()
    assert "Restart=always" in said


@pytest.mark.parametrize("unit", ["curevigil.service", "curevigil-mind.service"])
def test_a_shipped_service_is_one_that_systemd_takes(
    unit: str, tmp_path: Path, absent: Callable[[str, str], None]
) -> None:
    program = shutil.which("systemd-analyze")
    if program is None:
        absent("systemd-analyze", "apt-get install systemd")
    said = (ROOT / "deploy" / unit).read_text(encoding="utf-8")
    # The program and its user are those of an installation, which this machine need not be.
    said = said.replace("/opt/curevigil/.venv/bin/curevigil", "/bin/true").replace("User=curevigil", "User=root")
    (tmp_path / unit).write_text(said)
    told = subprocess.run([str(program), "verify", str(tmp_path / unit)], capture_output=True, text=True, check=False)
    assert f"{unit}:" not in told.stderr, told.stderr
    assert told.returncode == 0, told.stderr
