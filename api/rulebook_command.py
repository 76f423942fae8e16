"""The command `rulebook`: every limit with its source, printed; two rulebooks compared; a file checked before use."""

import textwrap
from pathlib import Path

import click

from alerts.rulebook.book import Limit, Rule, Rulebook
from alerts.rulebook.compare import Difference, differences
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
    foreign = "; house use of a foreign table" if limit.borrowed else ""
    lines += wrapped(f"known: {HOW_KNOWN[limit.known]}{foreign}; reaches: {limit.reaches}", 4)
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


def class_lines(book: Rulebook) -> list[str]:
    """Return the classes of product, each with what bounds its nitrite and nitrate and who chooses it."""
    chosen = {
        "method": "follows from the method",
        "route": "follows from the route",
        "person": "chosen by a person by name",
    }
    lines = []
    for one in book.classes.values():
        lines += wrapped(f"{one.id}: {one.words}; {chosen[one.chosen_by]}", 0)
        named = {
            "nitrite going in": one.ingoing,
            "nitrite remaining": one.residual,
            "nitrate going in": one.nitrate_ingoing,
            "nitrate remaining": one.nitrate_residual,
        }
        said = [f"{what} {book.limits[row].printed}" for what, row in named.items() if row is not None]
        said += [] if one.judged else ["out of scope: nothing judges it"]
        said += ["only a laboratory can tell"] if one.residual_only else []
        lines += wrapped("; ".join(said), 4) + (wrapped(one.note, 4) if one.note else [])
    return lines


def table_lines(book: Rulebook) -> list[str]:
    """Return the tables of which one row is enough, the ways to cool, and the windows of warm stages."""
    lines = []
    for table in book.tables.values():
        lines += wrapped(f"{table.id}: {table.words}", 0)
        lines += wrapped("one of: " + "; ".join(row.printed for row in book.rows(table.id)), 4)
    for way in book.cooling.values():
        needs = "" if way.nitrite is None else f"; with at least {book.limits[way.nitrite].printed} gone in"
        lines += wrapped(f"cooling {way.id}: {way.words}", 0)
        lines += wrapped("each of: " + "; ".join(row.printed for row in book.steps(way.id)) + needs, 4)
    for window in book.windows.values():
        ends = {"from": window.coolest, "up to": window.warmest, "after a cure of at least": window.after}
        said = [f"{word} {book.limits[row].printed}" for word, row in ends.items() if row is not None]
        lines += wrapped(f"window {window.id}: {window.words} ({', '.join(window.stages)})", 0)
        lines += wrapped(", ".join(said), 4)
    return lines


def printed(book: Rulebook) -> str:
    """Return the whole rulebook as people read it: the rules, then every limit under the rules that use it."""
    lines = [f"Rulebook {book.name}: {book.title}", CAUTION, "", "RULES", ""]
    for rule in book.rules:
        lines += [*rule_lines(book, rule), ""]
    lines += ["CLASSES OF PRODUCT", "", *class_lines(book), "", "TABLES", "", *table_lines(book), ""]
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
    """Show the rulebooks, compare two of them, and check a rulebook file."""


@rulebook.command()
@click.argument("authority", default="US", type=click.Choice(names(), case_sensitive=False))
def show(authority: str) -> None:
    """Print every rule and every limit, with unit, source, edition and how it is known."""
    click.echo(printed(load(authority.upper())))


@rulebook.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
def check(file: Path) -> None:
    """Check a rulebook file and list all that is wrong with it."""
    book = book_in(file)
    click.echo(f"{file}: rulebook {book.name}, {len(book.rules)} rules, {len(book.limits)} limits, no faults found")


def book_in(file: Path) -> Rulebook:
    """Return the rulebook of a file; what is wrong with it is printed, and refused."""
    try:
        book = read_rulebook(file.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise click.ClickException(f"{file} cannot be read as UTF-8 text: {error}") from error
    if isinstance(book, Rulebook):
        return book
    for fault in book:
        click.echo(str(fault), err=True)
    raise click.ClickException(f"{file}: {len(book)} {'fault' if len(book) == 1 else 'faults'}; not used")


def book_named(name: str) -> Rulebook:
    """Return a shipped rulebook by its authority, or the one in a file of that name."""
    if name.upper() in names():
        return load(name.upper())
    file = Path(name)
    if not file.is_file():
        raise click.ClickException(f"{name} is no file, and no shipped rulebook; shipped are {', '.join(names())}")
    return book_in(file)


def difference_lines(one: Difference) -> list[str]:
    """Return one difference: what it is about, old and new value, what else differs, and the source in force."""
    if one.old and one.new:
        head = one.id if one.kind != "limit" or one.old == one.new else f"{one.id}: {one.old} → {one.new}"
    else:
        value = f": {one.old or one.new}" if one.kind == "limit" else ""
        head = f"{one.id}{value} (only in the {'first' if one.old else 'second'})"
    lines = wrapped(f"{one.kind} {head}", 0)
    for name, old, new in one.also:
        lines += wrapped(f"{name}: {old} → {new}", 4)
    told = any(name == "source" for name, _, _ in one.also)
    return lines + (wrapped(f"source: {one.source}", 4) if one.source and not told else [])


@rulebook.command()
@click.argument("first")
@click.argument("second")
def diff(first: str, second: str) -> None:
    """Print what differs between two rulebooks, each a shipped one (US) or a file: old value, new value, source."""
    old, new = book_named(first), book_named(second)
    found = differences(old, new)
    lines = [f"From {old.name} to {new.name}: {len(found)} {'difference' if len(found) == 1 else 'differences'}", ""]
    for one in found:
        lines += difference_lines(one)
    click.echo("\n".join([*lines, "", CAUTION]))
