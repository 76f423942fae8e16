"""The demo, as a visitor runs it."""

import re
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import httpx
import pytest

CONSOLE = Path(sys.executable).with_name("curevigil")


def test_the_fast_demo_tells_the_story_and_counts_it() -> None:
    ran = subprocess.run([CONSOLE, "demo", "--fast"], capture_output=True, text=True, timeout=120)
    assert ran.returncode == 0, ran.stderr
    assert "Traceback" not in ran.stderr
    lines = ran.stdout.splitlines()
    assert re.fullmatch(r"[\d,]+ readings, \d+ alarms, 7 dispositions \(.*\)", lines[-1])
    said = " ".join(" ".join(lines).split())
    assert "Meat warming" in said
    assert "BELLY-32. Proposed: cure longer." in said
    assert "BRISKET-33. Proposed: HOLD." in said
    assert "DUCK-35. Proposed: carry on." in said
    assert "JOWL-36. Proposed: REJECT." in said
    rejected = said.partition("JOWL-36. Proposed: REJECT.")[2].partition("LOIN-29")[0]
    assert "1562.5 ppm" in rejected and "Before it is released" not in rejected
    assert "PASTRAMI-28. Proposed: release." in said
    assert "local rules" in said


def test_the_fast_demo_says_the_same_twice() -> None:
    one, two = (
        subprocess.run([CONSOLE, "demo", "--fast", "--seed", "7"], capture_output=True, text=True, timeout=120).stdout
        for _ in range(2)
    )
    assert one == two


@pytest.mark.service
def test_the_live_demo_prints_address_and_code_serves_and_ends_on_a_signal(
    tmp_path: Path, eventually: Callable[..., None]
) -> None:
    said = tmp_path / "said"
    with said.open("w") as out:
        running = subprocess.Popen([CONSOLE, "demo", "--data", str(tmp_path / "demo")], stdout=out, stderr=out)
    try:
        eventually(lambda: "Sign-in code" in said.read_text(), "the demo prints a sign-in code", timeout_s=110)
        address = re.search(r"Address\s+(\S+)", said.read_text())
        assert address is not None
        eventually(lambda: httpx.get(f"{address[1]}/health").status_code == 200, "every unit has been looked at once")
        assert httpx.get(f"{address[1]}/", follow_redirects=True).url.path == "/sign-in"
    finally:
        running.send_signal(signal.SIGINT)
        running.wait(timeout=30)
    assert "Traceback" not in said.read_text()
