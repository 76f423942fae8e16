"""Tells several people at a time, so that nobody waits for another one's dead gateway."""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

from alerts.escalation import Telling

Outcome = TypeVar("Outcome")


def each_told(
    tellings: Sequence[Telling], tell: Callable[[Telling], Outcome], people_at_once: int
) -> Iterator[Outcome]:
    """Yield what became of each telling, in their order, whoever was told first; one person's go out one by one."""
    people = list(dict.fromkeys(telling.person for telling in tellings))
    if people_at_once < 2 or len(people) < 2:
        yield from map(tell, tellings)
        return

    def told(person: str) -> list[Outcome]:
        return [tell(telling) for telling in tellings if telling.person == person]

    with ThreadPoolExecutor(min(people_at_once, len(people)), "tell") as pool:
        found = {person: iter(outcomes) for person, outcomes in zip(people, pool.map(told, people), strict=True)}
    yield from (next(found[telling.person]) for telling in tellings)
