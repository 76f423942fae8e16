"""What the words of a pure module owe their reader. The examples in them are executed by pytest itself."""

import ast
import re
import tomllib
from fnmatch import fnmatch
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
SCIENCE = sorted(path for path in (ROOT / "alerts" / "science").glob("*.py") if path.name != "__init__.py")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
SHELL = PROJECT["tool"]["curevigil"]["shell"]
PURE_ALL_THE_SAME = PROJECT["tool"]["curevigil"]["pure-all-the-same"]


def is_pure(name: str) -> bool:
    """Return whether a module is held to the full rules; a star in a pattern stays within its folder."""
    shell = any(name.count("/") == pattern.count("/") and fnmatch(name, pattern) for pattern in SHELL)
    return name in PURE_ALL_THE_SAME or not shell


PURE = sorted(
    path
    for package in ("collector", "alerts", "api", "simulators")
    for path in (ROOT / package).rglob("*.py")
    if path.name != "__init__.py" and is_pure(path.relative_to(ROOT).as_posix())
)
Function = ast.FunctionDef | ast.AsyncFunctionDef


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def public_functions(tree: ast.Module) -> list[Function]:
    """Return the functions at the top of a module; of an overloaded one, only the one that does the work."""
    found = [n for n in tree.body if isinstance(n, Function) and not n.name.startswith("_")]
    return [n for n in found if "overload" not in {ast.unparse(d).rpartition(".")[2] for d in n.decorator_list}]


def public_classes(tree: ast.Module) -> list[ast.ClassDef]:
    return [n for n in tree.body if isinstance(n, ast.ClassDef) and not n.name.startswith("_")]


def undocumented(source: str) -> list[str]:
    """Return the public functions and classes that say nothing."""
    tree = ast.parse(source)
    return [n.name for n in [*public_functions(tree), *public_classes(tree)] if not ast.get_docstring(n)]


def raised(function: Function) -> set[str]:
    """Return the exceptions that a function raises itself."""
    names = set()
    for node in ast.walk(function):
        if isinstance(node, ast.Raise) and node.exc is not None:
            exception = node.exc.func if isinstance(node.exc, ast.Call) else node.exc
            names.add(ast.unparse(exception).rpartition(".")[2])
    return names


def calculates(function: Function) -> bool:
    """Return whether a function holds a formula, which must come from somewhere."""
    operators = (ast.Mult, ast.Div, ast.Pow)
    return any(isinstance(node, ast.BinOp) and isinstance(node.op, operators) for node in ast.walk(function))


def section(docstring: str, title: str) -> str:
    """Return the text of one numpy section, empty where there is none."""
    found = re.search(rf"^{title}\n-+\n(.*?)(?=^\w[\w ]*\n-{{3,}}\n|\Z)", docstring, re.MULTILINE | re.DOTALL)
    return found.group(1) if found else ""


def science_faults(source: str) -> list[str]:
    """Return what the public functions of a science module leave out of the full template."""
    faults = []
    for function in public_functions(ast.parse(source)):
        text = ast.get_docstring(function) or ""
        arguments = [a.arg for a in [*function.args.args, *function.args.kwonlyargs]]
        for argument in arguments:
            if not re.search(rf"^(\w+, )*{argument}(, \w+)* :", section(text, "Parameters"), re.MULTILINE):
                faults.append(f"{function.name}: no line for the parameter {argument}")
        for exception in raised(function):
            if not re.search(rf"^{exception}\b", section(text, "Raises"), re.MULTILINE):
                faults.append(f"{function.name}: no line for {exception}")
        if not re.search(r"\[[^\]]+\]", section(text, "Returns")) and not re.search(r"\[[^\]]+\]", text.split("\n")[0]):
            faults.append(f"{function.name}: no unit for what comes back")
        if ">>>" not in section(text, "Examples"):
            faults.append(f"{function.name}: no example")
        if calculates(function) and not section(text, "References").strip():
            faults.append(f"{function.name}: no reference; write where the formula or figure comes from, or `house`")
    return faults


@pytest.mark.parametrize("path", PURE, ids=name_of)
def test_every_public_name_of_a_pure_module_says_what_it_is(path: Path) -> None:
    assert undocumented(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("path", SCIENCE, ids=name_of)
def test_a_science_function_follows_the_full_template(path: Path) -> None:
    assert science_faults(path.read_text(encoding="utf-8")) == []


WHOLE = '''
def mean(temperatures_c: list[float]) -> float:
    """Return the mean of a record.

    Parameters
    ----------
    temperatures_c : list of float, n >= 1
        Readings at equal steps. [°C]

    Returns
    -------
    float
        Between the least and the greatest. [°C]

    Raises
    ------
    ValueError
        If the record is empty.

    Examples
    --------
    >>> mean([2.0, 4.0])
    3.0

    References
    ----------
    House.
    """
    if not temperatures_c:
        raise ValueError("an empty record has no mean")
    return sum(temperatures_c) / len(temperatures_c)
'''
LEFT_OUT = [
    ("temperatures_c : list", "t : list", "parameter temperatures_c"),
    ("    ValueError\n        If the record is empty.\n", "", "ValueError"),
    ("Between the least and the greatest. [°C]", "Between the least and the greatest.", "unit"),
    (">>> mean([2.0, 4.0])\n    3.0", "Left to the reader.", "example"),
    ("    House.\n", "", "reference"),
]


def test_the_full_template_is_accepted() -> None:
    assert science_faults(WHOLE) == []


@pytest.mark.parametrize(("part", "instead", "named"), LEFT_OUT)
def test_what_is_left_out_of_the_template_is_found(part: str, instead: str, named: str) -> None:
    assert part in WHOLE
    faults = science_faults(WHOLE.replace(part, instead))
    assert len(faults) == 1
    assert named in faults[0]


def test_a_public_name_without_words_is_found() -> None:
    assert undocumented("def f():\n    pass\n\nclass C:\n    x = 1\n\ndef _own():\n    pass\n") == ["f", "C"]
