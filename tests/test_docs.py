"""The documents are tested like code: what they name exists, and what exists is named."""

import re
import shlex
import tomllib
from pathlib import Path

import click
import pytest
from pydantic import BaseModel

from api.cli import main

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
EXAMPLES = ["curevigil.example.toml", "kitchen.example.toml"]


def code_in(document: str) -> list[str]:
    """Return every line of a fenced block, and every stretch between backticks."""
    fenced = re.findall(r"^```\w*\n(.*?)^```", document, re.MULTILINE | re.DOTALL)
    rest = re.sub(r"^```.*?^```", "", document, flags=re.MULTILINE | re.DOTALL)
    return [line for block in fenced for line in block.splitlines()] + re.findall(r"`([^`\n]+)`", rest)


def commands_in(document: str) -> list[str]:
    """Return every call of the console command, as a reader would type it."""
    found = []
    for code in code_in(document):
        typed = re.sub(r"^\s*\$ ", "", code).replace("./deploy/demo", "curevigil demo")
        match = re.match(r"(?:\.venv/bin/)?curevigil (.+)", typed)
        if match:
            found.append(re.sub(r"\s+#.*", "", match.group(1)))
    return sorted(set(found))


def command_faults(typed: str) -> list[str]:
    """Return which of the words and options of a call the console does not know."""
    command: click.Command = main
    context = click.Context(main, info_name="curevigil")
    words = shlex.split(typed)
    while isinstance(command, click.Group):
        if command.invoke_without_command and (not words or words[0].startswith("-")):
            break
        name = words.pop(0) if words else ""
        below = command.get_command(context, name)
        if below is None:
            return [f"no command {name!r} below {context.command_path}"]
        command, context = below, click.Context(below, info_name=name, parent=context)
    known = {option for parameter in command.get_params(context) for option in parameter.opts}
    return [f"no option {word}" for word in words if word.startswith("--") and word.partition("=")[0] not in known]


@pytest.mark.parametrize("typed", sorted({*commands_in(README), *commands_in(DEVELOPERS)}))
def test_every_command_in_the_documents_exists(typed: str) -> None:
    assert command_faults(typed) == []


def test_the_readme_names_the_two_commands_and_every_command_of_the_console() -> None:
    assert "./deploy/demo" in README
    assert "./deploy/test" in README
    context = click.Context(main, info_name="curevigil")
    named = {typed.split()[0] for typed in commands_in(README)}
    assert sorted(set(main.list_commands(context)) - named) == []


def test_a_command_that_does_not_exist_is_found() -> None:
    assert commands_in("Run `curevigil levitate --now`, or\n```\n$ curevigil levitate  # up\n```\n") == [
        "levitate",
        "levitate --now",
    ]
    assert command_faults("levitate --now") == ["no command 'levitate' below curevigil"]


def unexplained(example: str) -> list[str]:
    """Return the keys of an example file that no comment explains, beside them or right above them, at least once."""
    lines = ["", *example.splitlines()]
    explained: dict[str, bool] = {}
    for above, line in zip(lines, lines[1:], strict=False):
        key = re.match(r"(?:# ?)?([\w-]+) = ", line)
        if key:
            beside = "#" in line.split("=", 1)[1]
            right_above = above.startswith("#") and not re.match(r"# ?[\w-]+ = ", above)
            explained[key.group(1)] = explained.get(key.group(1), False) or beside or right_above
    return [name for name, known in explained.items() if not known]


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_key_of_an_example_file_is_explained(name: str) -> None:
    text = (ROOT / "deploy" / name).read_text(encoding="utf-8")
    assert tomllib.loads(text)
    assert unexplained(text) == []


def test_a_key_without_a_word_is_found() -> None:
    assert unexplained("# where it listens\nport = 1\nhost = 2\nname = 3  # what it is called\n# other = 4\n") == [
        "host",
        "other",
    ]


def leaves(model: type[BaseModel]) -> set[str]:
    """Return the keys of a settings model, as they are written in its file."""
    found = set()
    for name, field in model.model_fields.items():
        inner = [t for t in [field.annotation, *getattr(field.annotation, "__args__", ())] if isinstance(t, type)]
        models = [t for t in inner if issubclass(t, BaseModel)]
        found |= {key for m in models for key in leaves(m)} if models else {field.alias or name}
    return found


def test_every_setting_stands_in_the_example_file() -> None:
    from collector.settings import Settings

    example = (ROOT / "deploy" / "curevigil.example.toml").read_text(encoding="utf-8")
    written = set(re.findall(r"^(?:# ?)?([\w-]+) = ", example, re.MULTILINE))
    assert sorted(leaves(Settings) - written) == []


def glossary() -> list[str]:
    """Return the words of the glossary table; one cell may hold several, parted by commas."""
    table = DEVELOPERS.partition("## Glossary")[2].partition("\n## ")[0]
    cells = re.findall(r"^\| ([^|]+) \|", table, re.MULTILINE)[1:]
    return [word.strip(" `*") for cell in cells for word in cell.split(",")]


def used(word: str, source: str) -> bool:
    """Return whether a word stands in source, as prose, as an identifier or as the name of a class."""
    stem = r"[ _-]?".join(re.escape(part) for part in re.split(r"[ -]", word.lower()))
    return re.search(rf"(?<![a-z]){stem}|{stem}(?![a-z])", source) is not None


SOURCE = "\n".join(
    path.read_text(encoding="utf-8").lower()
    for package in ("collector", "alerts", "api", "simulators")
    for path in sorted((ROOT / package).rglob("*.py"))
)


@pytest.mark.parametrize("word", glossary())
def test_every_word_of_the_glossary_is_used_in_the_code(word: str) -> None:
    assert used(word, SOURCE)


def test_the_glossary_is_read_from_its_table() -> None:
    assert {"reading", "batch", "disposition", "journal"} <= set(glossary())
    assert not used("xylophone", SOURCE)


def modules_in_the_map() -> set[str]:
    """Return the modules that the map of DEVELOPERS.md names."""
    drawn = DEVELOPERS.partition("## The map")[2].partition("\n## ")[0]
    return set(re.findall(r"`((?:collector|alerts|api|simulators)/[\w/]+\.py)`", drawn))


def test_every_module_on_the_map_exists() -> None:
    assert sorted(name for name in modules_in_the_map() if not (ROOT / name).exists()) == []


def test_every_module_is_on_the_map() -> None:
    modules = {
        path.relative_to(ROOT).as_posix()
        for package in ("collector", "alerts", "api", "simulators")
        for path in (ROOT / package).rglob("*.py")
        if path.name != "__init__.py"
    }
    assert sorted(modules - modules_in_the_map()) == []
