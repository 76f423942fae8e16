"""What is shipped works where it is installed: the wheel, in a fresh environment, from an empty folder."""

import os
import re
import subprocess
import sys
import sysconfig
import venv
from pathlib import Path

import pytest

from alerts.rulebook.shelf import load

ROOT = Path(__file__).resolve().parents[2]


def ran(command: list[str], folder: Path) -> str:
    """Return what a command printed; fail with all of it where it did not exit with 0."""
    clean = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    done = subprocess.run(
        command, cwd=folder, env=clean, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 0, f"{' '.join(command)}\n{done.stdout}\n{done.stderr}"
    return done.stdout


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of programs of a fresh environment in which only the wheel was installed.

    The libraries are lent by the environment that runs the tests, so that nothing is fetched; the project itself is
    not lent, since a path that is added this way is searched for no further paths.
    """
    folder = tmp_path_factory.mktemp("wheel")
    build = [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(folder), str(ROOT)]
    ran(build, folder)
    (wheel,) = folder.glob("curevigil-*.whl")
    home = folder / "fresh"
    venv.create(home, with_pip=False, symlinks=True)
    python = home / "bin" / "python"
    ran(
        [sys.executable, "-m", "pip", "--python", str(python), "install", "--no-deps", "--no-index", str(wheel)], folder
    )
    (site,) = (home / "lib").glob("python*/site-packages")
    lent = {sysconfig.get_path("purelib"), sysconfig.get_path("platlib")}
    (site / "lent.pth").write_text("\n".join(sorted(lent)) + "\n")
    return home / "bin"


@pytest.fixture
def empty(tmp_path: Path) -> Path:
    """An empty folder to stand in, so that nothing is found by its place."""
    return tmp_path


@pytest.mark.parametrize("package", ["collector", "alerts", "api", "simulators"])
def test_the_packages_are_taken_from_the_wheel(installed: Path, empty: Path, package: str) -> None:
    where = ran([str(installed / "python"), "-c", f"import {package}; print({package}.__file__)"], empty)
    assert Path(where.strip()).is_relative_to(installed.parent)


@pytest.mark.parametrize("book", ["US", "GB", "EU"])
def test_the_installed_command_prints_every_limit_with_its_source(installed: Path, empty: Path, book: str) -> None:
    printed = ran([str(installed / "curevigil"), "rulebook", "show", book], empty)
    said = " ".join(printed.split())
    limits = load(book).limits.values()
    assert len(limits) > 150
    assert [row.id for row in limits if row.id not in printed] == []
    assert [row.id for row in limits if " ".join(row.source.split()) not in said] == []


def test_the_installed_command_tells_its_version(installed: Path, empty: Path) -> None:
    assert re.fullmatch(r"curevigil \d+\.\d+\.\d+\n", ran([str(installed / "curevigil"), "--version"], empty))


def test_the_wheel_holds_every_file_of_the_packages_that_is_not_code(installed: Path) -> None:
    (site,) = (installed.parent / "lib").glob("python*/site-packages")
    command = ["git", "ls-files", "-z", "collector", "alerts", "api", "simulators"]
    tracked = subprocess.run(command, cwd=ROOT, capture_output=True, check=True).stdout.decode().split("\0")
    assert [name for name in tracked if name and (ROOT / name).exists() and not (site / name).exists()] == []
