"""A real browser for the tests of what a person sees."""

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NoReturn

import playwright
import pytest
from playwright.sync_api import Browser, Page, sync_playwright

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
MACOS_CHROME = "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome"
PHONE = {"width": 390, "height": 844}


def browser_program() -> str | None:
    """Return the browser to use: the one that CHROMIUM names, else the first that is installed."""
    named = os.environ.get("CHROMIUM")
    if named:
        return named
    for name in ("/usr/bin/chromium", "chromium", "chromium-browser", "google-chrome", MACOS_CHROME):
        program = shutil.which(name)
        if program:
            return program
    return None


def driver_starts() -> bool:
    """Return whether the program that drives the browser runs here; a bare Debian lacks a library of its."""
    driver = Path(playwright.__file__).parent / "driver" / "node"
    return subprocess.run([driver, "--version"], capture_output=True, check=False).returncode == 0


# A module's own, not the session's: while Playwright runs, no other test in this thread could run an event loop.
@pytest.fixture(scope="module")
def browser(absent: Callable[[str, str], NoReturn]) -> Iterator[Browser]:
    """A headless Chromium, started once for each test module."""
    program = browser_program()
    if program is None or not Path(program).exists():
        absent("browser", "sudo apt-get install chromium (macOS: brew install --cask google-chrome)")
    if not driver_starts():
        absent("browser", "sudo apt-get install libatomic1")
    with sync_playwright() as driver:
        # Only root needs to go without the browser's own sandbox.
        arguments = ARGUMENTS if sys.platform == "linux" else ARGUMENTS[1:]
        browser = driver.chromium.launch(executable_path=program, args=arguments)
        yield browser
        browser.close()


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A fresh page the size of a phone, with no cookie; what breaks the content policy fails the test at its end."""
    context = browser.new_context(viewport={"width": PHONE["width"], "height": PHONE["height"]})
    page = context.new_page()
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(f"error in a script: {error}"))
    yield page
    context.close()
    broken = [text for text in complaints if "Content Security Policy" in text or text.startswith("error in a script")]
    assert not broken, "\n".join(broken)
