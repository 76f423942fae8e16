"""The lock file: complete, hashed, and silent about where it was made."""

import re
import tomllib
from importlib.metadata import version
from pathlib import Path

import pytest
from packaging.markers import Marker
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parents[1]
LOCK = (ROOT / "requirements.lock").read_text(encoding="utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
ASKED_FOR = [*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["test"]]
PIN = re.compile(r"^(?P<name>[A-Za-z0-9._-]+)==(?P<version>\S+)(?: ; (?P<marker>[^\\]+))?", re.MULTILINE)


def entries() -> dict[str, tuple[str, str | None, str]]:
    """Return of every locked package its version, its marker, and the text that follows until the next one."""
    found = list(PIN.finditer(LOCK))
    ends = [m.start() for m in found[1:]] + [len(LOCK)]
    return {
        canonicalize_name(m["name"]): (m["version"], m["marker"], LOCK[m.end() : end])
        for m, end in zip(found, ends, strict=True)
    }


LOCKED = entries()


@pytest.mark.parametrize("asked", ASKED_FOR)
def test_what_the_project_asks_for_is_locked_within_its_bounds(asked: str) -> None:
    requirement = Requirement(asked)
    locked, _, _ = LOCKED[canonicalize_name(requirement.name)]
    assert requirement.specifier.contains(locked)


@pytest.mark.parametrize("name", LOCKED)
def test_a_locked_package_has_hashes_and_nothing_else(name: str) -> None:
    _, _, rest = LOCKED[name]
    hashes = re.findall(r"--hash=sha256:[0-9a-f]{64}\b", rest)
    assert hashes
    assert len(hashes) == rest.count("--")


def test_the_lock_names_no_address_and_no_path() -> None:
    assert re.findall(r"\w+://|(?<!\w)/[\w.-]+/|file:|@ ", LOCK) == []


@pytest.mark.parametrize("name", LOCKED)
def test_what_is_installed_here_is_what_the_lock_names(name: str) -> None:
    locked, marker, _ = LOCKED[name]
    if marker is None or Marker(marker).evaluate():
        assert version(name) == locked
