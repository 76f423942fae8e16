"""The import rules of DEVELOPERS.md, checked by reading the code.

Packages import one way only; a module that is not in the shell touches nothing outside itself: no network, no disk, no
clock, no chance; a library that reaches the world is imported in the one place named for it.
"""

import ast
import tomllib
from fnmatch import fnmatch
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]

MAY_IMPORT = {
    "collector": {"collector"},
    "alerts": {"alerts", "collector"},
    "api": {"api", "alerts", "collector"},
    "simulators": {"simulators", "collector.message", "collector.sample"},
}
"""What each package may import of ours. The simulators' own programs, below, stand outside as the console does."""
MAY_IMPORT_ALL = {
    "simulators/demo.py",
    "simulators/demo_influx.py",
    "simulators/influx_server.py",
    "simulators/gullwick.py",
    "simulators/gullwick_life.py",
    "simulators/report.py",
} | {f"simulators/{path.name}" for path in (ROOT / "simulators").glob("bench*.py")}

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
SHELL = set(PROJECT["tool"]["curevigil"]["shell"])
"""The modules that may touch the world. Every other one is pure; so is what stands in PURE_ALL_THE_SAME."""
PURE_ALL_THE_SAME = set(PROJECT["tool"]["curevigil"]["pure-all-the-same"])
RUNS_THE_SHELL = set(PROJECT["tool"]["curevigil"]["runs-the-shell"])

PURE_MAY_IMPORT = {
    "__future__", "abc", "array", "base64", "binascii", "bisect", "calendar", "cmath", "collections", "contextlib",
    "copy", "csv", "dataclasses", "datetime", "decimal", "difflib", "enum", "fractions", "functools", "hashlib",
    "heapq", "hmac", "html", "io.BytesIO", "io.StringIO", "ipaddress", "itertools", "json", "math", "numbers",
    "operator", "random.Random", "re", "statistics", "string", "struct", "textwrap", "tomllib", "types", "typing",
    "unicodedata", "urllib.parse", "zlib", "zoneinfo",
    "annotated_types", "cbor2", "numpy", "pydantic", "pydantic_core", "typing_extensions",
}  # fmt: skip
READS_THE_CLOCK = {"now", "today", "utcnow"}
READS_OR_WRITES = {"read_text", "read_bytes", "write_text", "write_bytes", "fromfile", "tofile", "memmap", "loadtxt"}
TAKES_A_FILE = {("json", "load"), ("json", "dump"), ("tomllib", "load"), ("np", "load"), ("np", "save")}
GENERATOR = "numpy.random.Generator"
CALLS_OUT = {"open", "print", "input", "exec", "eval", "__import__", "breakpoint"}

IMPORT_SITES = {
    "paho": {
        "collector/mqtt.py",
        "collector/mqtt_board.py",
        "simulators/publisher.py",
        "simulators/bench_broker.py",
        "simulators/bench_alarm.py",
        "simulators/bench_webhook.py",
    },
    "apscheduler": {"alerts/schedule.py"},
    "influxdb_client": {"collector/readings_influx.py"},
    "pysqlite3": {"collector/sqlite.py", "collector/*_sqlite.py", "collector/*_sql.py"},
    "sqlite3": {"collector/sqlite.py", "collector/*_sqlite.py", "collector/*_sql.py"},
    "sqlalchemy": {"collector/*_sql.py"},
    "amqtt": {"simulators/embedded_broker.py"},
    "vl_convert": {"api/chart_bundle.py"},
    "argon2": {"api/auth/*.py"},
    "apprise": {"alerts/channels/apprise_way.py"},
    "cbor2": {"collector/formats/strict_cbor.py"},
    "smtplib": {"alerts/channels/email.py"},
}
"""The one place for each library that reaches the world; its exceptions are turned into ours there."""

FILES = sorted(path for package in MAY_IMPORT for path in (ROOT / package).rglob("*.py"))


def matches(name: str, patterns: set[str]) -> bool:
    """Return whether a path below the top level is named by one of the patterns; a star stays within its folder."""
    return any(name.count("/") == p.count("/") and fnmatch(name, p) for p in patterns)


def is_pure(name: str) -> bool:
    return name in PURE_ALL_THE_SAME or name.endswith("__init__.py") or not matches(name, SHELL)


def imported_names(tree: ast.AST) -> set[str]:
    """Return the dotted name of everything that a module imports, at any depth."""
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names |= {f"{'.' * node.level}{node.module or ''}.{alias.name}" for alias in node.names}
    return names


def outside(names: set[str], allowed: set[str]) -> set[str]:
    return {n for n in names if not any(n == a or n.startswith(f"{a}.") for a in allowed)}


def shell_modules(names: set[str]) -> set[str]:
    """Return those of the imported names that come from a module of ours that may touch the world."""
    found = set()
    for name in names:
        parts = name.split(".")
        paths = ["/".join(parts) + ".py", "/".join(parts[:-1]) + ".py"]
        if any((ROOT / path).exists() and not is_pure(path) for path in paths):
            found.add(name)
    return found


def direction_faults(name: str, tree: ast.AST) -> list[str]:
    """Return what a module imports against the direction of the packages."""
    names = imported_names(tree)
    ours = {n for n in names if n.split(".")[0] in MAY_IMPORT}
    allowed = set(MAY_IMPORT) if name in MAY_IMPORT_ALL else MAY_IMPORT[name.split("/")[0]]
    faults = [f"relative import {n}" for n in names if n.startswith(".")]
    faults += [f"imports the package root {n}; name the module" for n in ours & set(MAY_IMPORT)]
    faults += [f"may not import {n}" for n in outside(ours, allowed)]
    for library in {n.split(".")[0] for n in names} & set(IMPORT_SITES):
        if not matches(name, IMPORT_SITES[library]):
            faults.append(f"imports {library}, whose place is {' or '.join(sorted(IMPORT_SITES[library]))}")
    return sorted(faults)


def purity_faults(tree: ast.AST, *, runs_the_shell: bool = False) -> list[str]:
    """Return where a module reaches for the clock, for chance, or for anything outside itself."""
    names = imported_names(tree)
    theirs = {n for n in names if n.split(".")[0] not in MAY_IMPORT}
    faults = [f"a pure module may not import {n}" for n in outside(theirs, PURE_MAY_IMPORT)]
    faults += [
        f"a pure module may not draw by chance ({n})" for n in names if n.startswith("numpy.random") and n != GENERATOR
    ]
    if not runs_the_shell:
        faults += [f"a pure module may not import the shell ({n})" for n in shell_modules(names)]
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in CALLS_OUT:
            faults.append(f"line {node.lineno}: calls {node.func.id}()")
        if not isinstance(node, ast.Attribute):
            continue
        base = node.value
        if node.attr in READS_THE_CLOCK:
            faults.append(f"line {node.lineno}: reads the clock ({node.attr}); take the instant as an argument")
        if node.attr in READS_OR_WRITES or (isinstance(base, ast.Name) and (base.id, node.attr) in TAKES_A_FILE):
            faults.append(f"line {node.lineno}: reads or writes a file ({node.attr})")
        if isinstance(base, ast.Attribute) and base.attr == "random" and node.attr != "Generator":
            faults.append(f"line {node.lineno}: draws by chance ({node.attr}); take the generator as an argument")
    return sorted(faults)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_imports_point_one_way_and_pure_modules_touch_nothing(path: Path) -> None:
    name = path.relative_to(ROOT).as_posix()
    tree = ast.parse(path.read_text(encoding="utf-8"))
    impure = purity_faults(tree, runs_the_shell=name in RUNS_THE_SHELL) if is_pure(name) else []
    assert direction_faults(name, tree) + impure == []


PLANTED_DIRECTION = [
    ("collector/series.py", "from alerts.rules import judge", "may not import alerts.rules.judge"),
    ("alerts/rules.py", "import api.app", "may not import api.app"),
    ("api/app.py", "from simulators.room import Room", "may not import simulators.room.Room"),
    ("simulators/room.py", "from collector.kitchen import Kitchen", "may not import collector.kitchen.Kitchen"),
    ("simulators/publisher.py", "def f():\n    import alerts.watch", "may not import alerts.watch"),
    ("alerts/rules.py", "import collector", "imports the package root collector; name the module"),
    ("alerts/rules.py", "from . import watch", "relative import ..watch"),
    ("collector/ingest.py", "import paho.mqtt.client", "imports paho, whose place is"),
    ("alerts/service.py", "from apscheduler.schedulers import base", "imports apscheduler, whose place is"),
    ("api/app.py", "import sqlite3", "imports sqlite3, whose place is"),
]


@pytest.mark.parametrize(("name", "source", "fault"), PLANTED_DIRECTION)
def test_a_planted_import_against_the_rules_is_found(name: str, source: str, fault: str) -> None:
    faults = direction_faults(name, ast.parse(source))
    assert len(faults) == 1
    assert faults[0].startswith(fault)


PLANTED_IMPURITY = [
    "import os",
    "import time",
    "from pathlib import Path",
    "import random",
    "from random import random",
    "import numpy.random as npr",
    "from numpy.random import default_rng",
    "import secrets",
    "import numpy as np\nx = np.random.default_rng()",
    "from datetime import datetime\nx = datetime.now()",
    "from datetime import date\nx = date.today()",
    "def f(path):\n    return open(path)",
    "def f(path):\n    return path.read_text()",
    "import json\ndef f(file):\n    return json.load(file)",
    "import logging",
    "from importlib.resources import files",
]


@pytest.mark.parametrize("source", PLANTED_IMPURITY)
def test_a_planted_reach_outside_is_found(source: str) -> None:
    assert len(purity_faults(ast.parse(source))) == 1


def test_a_pure_module_that_imports_the_shell_is_found() -> None:
    tree = ast.parse("from collector.present import Present\n")
    assert len(purity_faults(tree)) == 1
    assert purity_faults(tree, runs_the_shell=True) == []


def test_what_pure_modules_need_is_not_mistaken_for_a_reach_outside() -> None:
    source = (
        "import json, math, re, hashlib, zoneinfo\nimport numpy as np\nfrom random import Random\n"
        "from collector.sample import Sample\n"
        "def f(rng: np.random.Generator, dice: Random, now: float) -> str:\n    return json.dumps(now)\n"
    )
    assert purity_faults(ast.parse(source)) == []


def test_no_pure_module_is_excused_from_the_docstring_rules() -> None:
    excused = {
        pattern
        for pattern, rules in PROJECT["tool"]["ruff"]["lint"]["per-file-ignores"].items()
        if "D" in rules and not pattern.startswith("tests/")
    }
    names = [path.relative_to(ROOT).as_posix() for path in FILES if path.name != "__init__.py"]
    pure = [name for name in names if is_pure(name) and name not in PURE_ALL_THE_SAME]
    assert [name for name in pure if any(_ruff_names(pattern, name) for pattern in excused)] == []


def _ruff_names(pattern: str, name: str) -> bool:
    if "{" not in pattern:
        return fnmatch(name, pattern)
    before, _, rest = pattern.partition("{")
    choices, _, after = rest.partition("}")
    return any(fnmatch(name, f"{before}{choice}{after}") for choice in choices.split(","))
