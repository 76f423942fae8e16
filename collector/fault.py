"""What is wrong with something a person wrote, and how to mend it: a value, never an exception. Pure."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with one field of a form, a request or a file."""

    field: str
    wrong: str
    mend: str

    def __str__(self) -> str:
        return f"{self.field}: {self.wrong}; {self.mend}"
