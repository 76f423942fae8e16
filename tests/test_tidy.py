"""The house rules that a script can see: lengths, names, leftovers, and what may stand in the repository at all."""

import ast
import io
import re
import subprocess
import tokenize
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = ("collector", "alerts", "api", "simulators")
SOURCES = sorted(path for package in PACKAGES for path in (ROOT / package).rglob("*.py"))

MODULE_LINES_MAX = 400
FUNCTION_LINES_MAX = 60
FILE_BYTES_MAX = 1_000_000
EMPTY_NAMES = {"utils", "util", "helpers", "helper", "manager", "handler", "data", "info", "process", "misc", "common"}

MAY_SLEEP = {"simulators/publisher.py", "simulators/demo.py", "simulators/bench.py"}
"""Programs that pace themselves by the wall clock. Everything else waits on an event, so that it can be stopped."""

TOP_LEVEL = re.compile(
    r"README\.md|DEVELOPERS\.md|pyproject\.toml|collector|alerts|api|deploy|tests|simulators|LICENSE|requirements\.lock|\..+"
)
MACHINE_PATH = re.compile(r"(?<![\w./-])/(?:work|root|farm|home|Users)/")
INDEX_SETTING = re.compile(r"index[-_]url|find[-_]links", re.IGNORECASE)
NOT_OURS = re.compile(r"\btran" + r"script\b|\bseed" + r" document\b", re.IGNORECASE)
"""Words that have no business in this repository."""
TOO_SURE = re.compile(r"\ball clear\b|(?<!\|)(?<!\| )\bsafe\b|\bOK\b")
"""What nobody is told: an estimate cannot know it."""


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def tracked_files() -> list[Path]:
    """Return every file of the repository, and every new one that is not ignored."""
    command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    listed = subprocess.run(command, cwd=ROOT, capture_output=True, check=True).stdout.decode()
    return sorted(ROOT / name for name in set(listed.split("\0")) if name and (ROOT / name).is_file())


TRACKED = tracked_files()


def texts() -> list[tuple[str, str]]:
    """Return name and text of every file that is text."""
    found = []
    for path in TRACKED:
        raw = path.read_bytes()
        if b"\0" not in raw:
            found.append((name_of(path), raw.decode("utf-8", errors="replace")))
    return found


def body_lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Return how many lines a function takes, its docstring and decorators apart."""
    lines = (function.end_lineno or function.lineno) - function.lineno + 1
    first = function.body[0]
    if ast.get_docstring(function, clean=False) is not None:
        lines -= (first.end_lineno or first.lineno) - first.lineno + 1
    return lines


def source_faults(name: str, source: str) -> list[str]:
    """Return what one module does against the house rules."""
    tree = ast.parse(source)
    faults = []
    if source.count("\n") > MODULE_LINES_MAX:
        faults.append(f"{source.count(chr(10))} lines; at most {MODULE_LINES_MAX}")
    if set(Path(name).with_suffix("").parts) & EMPTY_NAMES:
        faults.append("a name that says nothing; call it by what it holds")
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and body_lines(node) > FUNCTION_LINES_MAX:
            faults.append(f"{node.name} takes {body_lines(node)} lines; at most {FUNCTION_LINES_MAX}")
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "print":
            faults.append(f"line {node.lineno}: print")
        if name not in MAY_SLEEP and sleeps(node):
            faults.append("sleeps; wait on an event with a timeout, so that it can be stopped")
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type == tokenize.COMMENT and re.search(r"\b(TODO|FIXME|XXX|HACK)\b", token.string):
            faults.append(f"line {token.start[0]}: a note to oneself; do it, or write it down where others look")
    return faults


def sleeps(node: ast.AST) -> bool:
    """Return whether a node is time.sleep, or imports it."""
    if isinstance(node, ast.ImportFrom):
        return node.module == "time" and any(alias.name == "sleep" for alias in node.names)
    return (
        isinstance(node, ast.Attribute)
        and node.attr == "sleep"
        and isinstance(node.value, ast.Name)
        and node.value.id == "time"
    )


@pytest.mark.parametrize("path", SOURCES, ids=name_of)
def test_a_module_is_short_well_named_and_free_of_leftovers(path: Path) -> None:
    assert source_faults(name_of(path), path.read_text(encoding="utf-8")) == []


PLANTED = [
    ("alerts/long.py", "x = 1\n" * 401),
    ("alerts/utils.py", ""),
    ("alerts/data/frame.py", ""),
    ("alerts/a.py", "def f():\n" + "    x = 1\n" * 60),
    ("alerts/a.py", "print(1)\n"),
    ("alerts/a.py", "import time\ntime.sleep(1)\n"),
    ("alerts/a.py", "from time import sleep\n"),
    ("alerts/a.py", "x = 1  # TO" + "DO later\n"),
]


@pytest.mark.parametrize(("name", "source"), PLANTED)
def test_a_planted_leftover_is_found(name: str, source: str) -> None:
    assert len(source_faults(name, source)) == 1


def test_a_docstring_does_not_count_towards_the_length_of_a_function() -> None:
    source = 'def f():\n    """First.\n' + "    More.\n" * 60 + '    """\n    return 1\n'
    assert source_faults("alerts/a.py", source) == []


@pytest.mark.parametrize("path", [p for p in SOURCES if p.name == "__init__.py"], ids=name_of)
def test_a_package_root_holds_one_sentence(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    sentence = ast.get_docstring(tree) or ""
    assert len(tree.body) == 1
    assert sentence.endswith(".")
    assert "\n" not in sentence


def entry_points() -> set[str]:
    """Return the modules that the console script begins at, or finds its commands in."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    targets = list(project["scripts"].values())
    for group in project.get("entry-points", {}).values():
        targets += group.values()
    return {target.partition(":")[0] for target in targets}


def modules_named(tree: ast.AST) -> set[str]:
    """Return every dotted name that an import, or a string like `package.module:object`, may mean as a module."""
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names |= {node.module or ""} | {f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            names.add(node.value.partition(":")[0])
    return names


def test_every_module_is_used_by_another_or_is_an_entry_point() -> None:
    used = entry_points()
    for path in SOURCES:
        own = name_of(path).removesuffix(".py").replace("/", ".")
        used |= modules_named(ast.parse(path.read_text(encoding="utf-8"))) - {own}
    modules = {name_of(p).removesuffix(".py").replace("/", ".") for p in SOURCES if p.name != "__init__.py"}
    assert sorted(modules - used) == []


def test_every_file_at_the_top_level_has_its_place_in_the_design() -> None:
    tops = {name_of(path).partition("/")[0] for path in TRACKED}
    assert sorted(top for top in tops if not TOP_LEVEL.fullmatch(top)) == []


def test_no_file_is_over_a_megabyte() -> None:
    assert [name_of(path) for path in TRACKED if path.stat().st_size > FILE_BYTES_MAX] == []


def test_no_file_names_a_path_or_an_index_of_the_machine_it_was_written_on() -> None:
    here = re.compile(re.escape(str(ROOT)) + r"\b")
    found = []
    for name, text in texts():
        for number, line in enumerate(text.splitlines(), 1):
            if MACHINE_PATH.search(line) or here.search(line) or INDEX_SETTING.search(line):
                found.append(f"{name}:{number}: {line.strip()[:100]}")
    assert found == []


def test_no_file_holds_a_word_that_has_no_business_here() -> None:
    assert [name for name, text in texts() if NOT_OURS.search(text)] == []


def told_to_people() -> list[tuple[str, str]]:
    """Return each template without its tags, and each string of the sentences that people are told."""
    told = []
    for path in sorted((ROOT / "api").rglob("templates/**/*")):
        if path.is_file():
            text = re.sub(r"\{[{%#].*?[}%#]\}|<!--.*?-->", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
            told.append((name_of(path), text))
    sentences = ROOT / "alerts" / "sentences.py"
    for node in ast.walk(ast.parse(sentences.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            told.append((f"{name_of(sentences)}:{node.lineno}", node.value))
    return told


def test_nobody_is_told_that_something_is_safe() -> None:
    assert [(where, TOO_SURE.findall(text)) for where, text in told_to_people() if TOO_SURE.search(text)] == []


@pytest.mark.parametrize("text", ["All is well: all clear.", "The meat is safe.", "State: OK"])
def test_a_planted_assurance_is_found(text: str) -> None:
    assert TOO_SURE.search(text)
