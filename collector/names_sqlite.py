"""What a readings file stores once and means by a small number from then on: names, and the days of receipt."""

from collector.readings import Reading
from collector.sample import Message
from collector.sqlite import Connection

ORIGINS_OF_A_TOPIC_MAX = 1_000
REMEMBERED_MAX = 200_000
ERA_MS = 1 << 23
"""Times of receipt within 2.3 h of an era's base take three bytes, not six; a young era is not read to trim. [ms]"""


class Names:
    """The ids of names, learned through one connection and remembered for as long as that connection lives.

    A transaction that is undone ends its connection, and with it everything learned in that transaction.
    """

    def __init__(self, connection: Connection) -> None:
        self.connection = connection
        self._ids: dict[tuple[object, ...], int] = {}
        self._origins: dict[str, int] = {}
        self.topics: dict[int, str] = {}
        self.units: dict[int, int] = {}
        self._base_ms: int | None = None

    def id(self, table: str, **name: object) -> int:
        key = (table, *name.values())
        known = self._ids.get(key)
        return known if known is not None else self._learn(table, key, name)

    def _learn(self, table: str, key: tuple[object, ...], name: dict[str, object]) -> int:
        if len(self._ids) >= REMEMBERED_MAX:
            self._ids.clear()
        values = tuple(name.values())
        marks = ", ".join("?" * len(name))
        self.connection.execute(f"INSERT OR IGNORE INTO {table} ({', '.join(name)}) VALUES ({marks})", values)
        where = " AND ".join(f"{column} = ?" for column in name)
        found = int(self.connection.execute(f"SELECT id FROM {table} WHERE {where}", values).fetchone()[0])
        self._ids[key] = found
        return found

    def series(self, reading: Reading, topic: str) -> int:
        known = self._ids.get(("series", reading.channel))
        if known is None:
            row = (reading.channel, self.id("units", unit=reading.unit), topic)
            self.connection.execute("INSERT OR IGNORE INTO series (channel, unit_id, topic) VALUES (?, ?, ?)", row)
            where = "SELECT id, unit_id, topic FROM series WHERE channel = ?"
            known, unit, topic = self.connection.execute(where, (reading.channel,)).fetchone()
            self._ids[("series", reading.channel)] = known
            self.units[known], self.topics[known] = unit, topic
        return known

    def origin(self, message: Message, series: bytes = b"") -> int | None:
        """Return the id for a message's topic and series; None where the topic has brought too many sorts already."""
        name = {"topic": message.topic, "retained": int(message.retained), "series": series}
        if ("origins", *name.values()) in self._ids or not series:
            return self.id("origins", **name)
        if message.topic not in self._origins:
            count = "SELECT count(*) FROM origins WHERE topic = ?"
            self._origins[message.topic] = int(self.connection.execute(count, (message.topic,)).fetchone()[0])
        if self._origins[message.topic] >= ORIGINS_OF_A_TOPIC_MAX:
            return None
        self._origins[message.topic] += 1
        return self.id("origins", **name)

    def since_era(self, position: int, received_ms: int) -> int:
        """Return the time of receipt from the base of the newest era, begun here if that is too far away. [ms]"""
        if self._base_ms is None:
            newest = self.connection.execute("SELECT base_ms FROM eras ORDER BY first DESC LIMIT 1").fetchone()
            self._base_ms = newest[0] if newest else None
        if self._base_ms is None or not -ERA_MS <= received_ms - self._base_ms < ERA_MS:
            self.connection.execute("INSERT INTO eras VALUES (?, ?)", (position, received_ms))
            self._base_ms = received_ms
        return received_ms - self._base_ms
