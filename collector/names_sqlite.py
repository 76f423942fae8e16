"""The names in a readings file, each stored once and meant by a small number from then on."""

from collector.readings import Reading
from collector.sample import Message
from collector.sqlite import Connection

ORIGINS_OF_A_TOPIC_MAX = 1_000
REMEMBERED_MAX = 200_000


class Names:
    """The ids of names, remembered by the one writer; forgotten whenever a transaction was undone."""

    def __init__(self) -> None:
        self._ids: dict[tuple[object, ...], int] = {}
        self._origins: dict[str, int] = {}
        self.topics: dict[int, str] = {}
        self.units: dict[int, int] = {}

    def forget(self) -> None:
        for known in (self._ids, self._origins, self.topics, self.units):
            known.clear()

    def id(self, connection: Connection, table: str, **name: object) -> int:
        key = (table, *name.values())
        known = self._ids.get(key)
        return known if known is not None else self._learn(connection, table, key, name)

    def _learn(self, connection: Connection, table: str, key: tuple[object, ...], name: dict[str, object]) -> int:
        if len(self._ids) >= REMEMBERED_MAX:
            self._ids.clear()
        values = tuple(name.values())
        marks = ", ".join("?" * len(name))
        connection.execute(f"INSERT OR IGNORE INTO {table} ({', '.join(name)}) VALUES ({marks})", values)
        where = " AND ".join(f"{column} = ?" for column in name)
        found = int(connection.execute(f"SELECT id FROM {table} WHERE {where}", values).fetchone()[0])
        self._ids[key] = found
        return found

    def series(self, connection: Connection, reading: Reading, topic: str) -> int:
        known = self._ids.get(("series", reading.channel))
        if known is None:
            row = (reading.channel, self.id(connection, "units", unit=reading.unit), topic)
            connection.execute("INSERT OR IGNORE INTO series (channel, unit_id, topic) VALUES (?, ?, ?)", row)
            where = "SELECT id, unit_id, topic FROM series WHERE channel = ?"
            known, unit, topic = connection.execute(where, (reading.channel,)).fetchone()
            self._ids[("series", reading.channel)] = known
            self.units[known], self.topics[known] = unit, topic
        return known

    def origin(self, connection: Connection, message: Message, series: bytes = b"") -> int | None:
        """Return the id for a message's topic and series; None where the topic has brought too many sorts already."""
        name = {"topic": message.topic, "retained": int(message.retained), "series": series}
        if ("origins", *name.values()) in self._ids or not series:
            return self.id(connection, "origins", **name)
        if message.topic not in self._origins:
            counted = connection.execute("SELECT count(*) FROM origins WHERE topic = ?", (message.topic,)).fetchone()
            self._origins[message.topic] = int(counted[0])
        if self._origins[message.topic] >= ORIGINS_OF_A_TOPIC_MAX:
            return None
        self._origins[message.topic] += 1
        return self.id(connection, "origins", **name)
