"""A plan file read: what a batch is meant to be, and whose rules bind; or everything that is wrong with it. Pure."""

from dataclasses import dataclass
from typing import Literal

from pydantic import Field, ValidationError

from collector.batches import Plan
from collector.kitchen_tables import PlanTable
from collector.toml_faults import Fault, model_faults, read_sheet


class PlanFileTable(PlanTable):
    """The keys of `[batch.plan]` of a kitchen file, at the top, and the authority."""

    authority: Literal["US", "GB", "EU"] = Field(description="whose rules bind")


@dataclass(frozen=True, slots=True)
class PlanFile:
    """A plan, and whose rules bind."""

    authority: str
    plan: Plan


def read_plan(text: str, file: str) -> PlanFile | tuple[Fault, ...]:
    """Return the plan that a text describes, or every fault found in it, in the order of its lines."""
    sheet = read_sheet(text, file)
    if isinstance(sheet, Fault):
        return (sheet,)
    try:
        table = PlanFileTable.model_validate(sheet.values)
    except ValidationError as error:
        return model_faults(error, sheet, PlanFileTable)
    said = {key: value for key, value in table if key != "authority"}
    return PlanFile(table.authority, PlanTable.model_construct(**said).made())
