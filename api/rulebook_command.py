"""The command `rulebook`: every limit with its source, printed; a rulebook file checked before it is used."""

import textwrap
from pathlib import Path

import click

from alerts.rulebook.book import Limit, Rule, Rulebook
from alerts.rulebook.loader import read_rulebook
from alerts.rulebook.shelf import load, names

WIDTH = 100
HOW_KNOWN = {
    "read": "read in the document, or in a page that reproduces it",
    "memory": "from memory, not checked against the document: it may hold, never reject, until confirmed",
    "computed": "computed from other figures",
    "house": "house: no source supports the number",
}
CAUTION = "Estimates' yardsticks. Local rules and a responsible or licensed person come first."


def wrapped(text: str, indent: int) -> list[str]:
    """Return the lines of a paragraph below 100 columns, indented."""
    space = " " * indent
    return textwrap.wrap(text, WIDTH, initial_indent=space, subsequent_indent=space, break_on_hyphens=False)


def limit_lines(limit: Limit, rules: str) -> list[str]:
    """Return one row: id, value and rules; then source, edition, how it is known, how far it reaches, and the note."""
    lines = [f"{limit.id:<33}{limit.printed:<36}{rules}".rstrip()]
    lines += wrapped(f"source: {limit.source}; edition {limit.edition}", 4)
    lines += wrapped(f"known: {HOW_KNOWN[limit.known]}; reaches: {limit.reaches}", 4)
    return lines + (wrapped(limit.note, 4) if limit.note else [])


def rule_lines(book: Rulebook, rule: Rule) -> list[str]:
    """Return one rule: id, name and aim; when it applies; what it measures; what it leads to."""
    lines = wrapped(f"{rule.id}: {rule.name} ({rule.aim}; at most: {rule.reaches})", 0)
    when = [f"stages {', '.join(rule.stages)}"]
    when += [f"meat {', '.join(rule.meats)}"] if rule.meats else []
    if rule.condition == "airless":
        thick = book.limits["thickness.airless"].printed
        when.append(f"under brine, sealed, injected, bone-in or thicker than {thick}")
    lines += wrapped(f"when: {'; '.join(when)}", 4) + wrapped(f"measure: {rule.measure}", 4)
    for tiers in rule.tiers:
        steps = {"recorded": tiers.recorded, "hold": tiers.hold, "cook or discard": tiers.cook_or_discard}
        steps["reject"] = tiers.reject
        said = [f"{step} from {book.limits[share].printed}" for step, share in steps.items() if share]
        lines += wrapped(f"{', '.join(tiers.routes)}: {', '.join(said)}", 4)
    return lines


def printed(book: Rulebook) -> str:
    """Return the whole rulebook as people read it: the rules, then every limit under the rules that use it."""
    lines = [f"Rulebook {book.name}: {book.title}", CAUTION, "", "RULES", ""]
    for rule in book.rules:
        lines += [*rule_lines(book, rule), ""]
    lines += ["LIMITS", "", f"{'id':<33}{'value':<36}rule", "-" * WIDTH]
    for limit in book.limits.values():
        users = [rule.id for rule in book.rules if limit.id in rule.limits]
        # A limit that many budgets share names them by their number alone.
        rules = ", ".join(users if len(users) == 1 else dict.fromkeys(user.split()[0] for user in users))
        lines += [*limit_lines(limit, rules), ""]
    counted = [f"{sum(row.known == known for row in book.limits.values())} {known}" for known in HOW_KNOWN]
    return "\n".join([*lines, f"{len(book.limits)} limits: {', '.join(counted)}.", CAUTION])


@click.group()
def rulebook() -> None:
    """Show the rulebooks and check a rulebook file."""


@rulebook.command()
@click.argument("authority", default="US", type=click.Choice(names(), case_sensitive=False))
def show(authority: str) -> None:
    """Print every rule and every limit, with unit, source, edition and how it is known."""
    click.echo(printed(load(authority.upper())))


@rulebook.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
def check(file: Path) -> None:
    """Check a rulebook file and list all that is wrong with it."""
    try:
        book = read_rulebook(file.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise click.ClickException(f"{file} cannot be read as UTF-8 text: {error}") from error
    if isinstance(book, Rulebook):
        click.echo(f"{file}: rulebook {book.name}, {len(book.rules)} rules, {len(book.limits)} limits, no faults found")
        return
    for fault in book:
        click.echo(str(fault), err=True)
    raise click.ClickException(f"{file}: {len(book)} {'fault' if len(book) == 1 else 'faults'}; not used")
