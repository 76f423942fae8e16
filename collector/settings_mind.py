"""Which other installations a second watcher minds, as a settings file tells it. Pure."""

from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Annotated

from pydantic import AfterValidator, BeforeValidator, Field, ValidationError

from collector.formats.times import zone_named
from collector.sample import Refusal
from collector.settings_reach import WaysSettings, reach_faults, smtp_faults
from collector.settings_values import Outside, ReadSecret, Text, WholePathText, web_address
from collector.toml_faults import Fault, Sheet, Table, in_order, model_faults, read_sheet, refuse, shown


def _zone(value: str) -> str:
    if isinstance(zone_named(value), Refusal):
        refuse(f"{shown(value)} is no IANA time zone", "write one such as Europe/London")
    return value


class MindSettings(Table):
    """One other installation, as its people call it."""

    address: Annotated[Text, BeforeValidator(web_address)] = Field(
        description="the address under which its people find it"
    )
    name: Annotated[str, Field(min_length=1, max_length=60)] = Field(description="what its people call the place")
    zone: Annotated[Text, AfterValidator(_zone)] = "UTC"
    authority_file: WholePathText | None = None


class MindFile(WaysSettings):
    """What a second watcher is told: whom it minds, and how people are reached."""

    mind: Annotated[tuple[MindSettings, ...], Field(strict=False)] = ()


def mind_faults(mind: tuple[MindSettings, ...], sheet: Sheet) -> list[Fault]:
    """Return which installations stand there twice."""
    faults = []
    for index, entry in enumerate(mind):
        before = mind[:index]
        for key in ("address", "name"):
            if any(getattr(one, key) == getattr(entry, key) for one in before):
                what = f"{shown(getattr(entry, key))} stands there already"
                faults.append(sheet.fault(("mind", index, key), what, "keep one of the two, or tell them apart"))
        if entry.authority_file is not None and not entry.address.startswith("https://"):
            mend = "write https://, or leave authority_file out"
            faults.append(sheet.fault(("mind", index, "authority_file"), "it has a meaning only with https", mend))
    return faults


def parse_mind(
    text: str, environ: Mapping[str, str], read_secret: ReadSecret, others: Collection[str], file: str
) -> MindFile | tuple[Fault, ...]:
    """Return what a second watcher needs of a settings file, or every fault found in that, in the order of its lines.

    The file may be that of a whole installation: its tables, which `others` names, are not looked into here, and their
    secrets need not be there.
    """
    sheet = read_sheet(text, file)
    if isinstance(sheet, Fault):
        return (sheet,)
    mine = replace(sheet, values={key: value for key, value in sheet.values.items() if key not in others})
    try:
        found = MindFile.model_validate(mine.values, context=Outside(environ, read_secret))
    except ValidationError as error:
        return model_faults(error, mine, MindFile)
    faults = [*reach_faults(found.reach, found.smtp, mine), *smtp_faults(found.smtp, mine)]
    faults += mind_faults(found.mind, mine)
    if not found.reach:
        mend = "describe at least one [[reach]]"
        faults.append(mine.fault(("reach",), "a watcher that can tell nobody is none", mend))
    return in_order(faults) if faults else found
