"""Tells by a lamp or a siren: one retained word for each unit, on the broker."""

from collector.kitchen import Kitchen
from collector.mqtt_board import Board

ALARM, ACKNOWLEDGED, NONE, UNKNOWN = "alarm", "acknowledged", "none", "unknown"
"""What stands on a unit's topic. `none` is that no alarm stands, and no more; a lamp watches the status topic too."""


def words_of(kitchen: Kitchen, topic: str) -> dict[str, str]:
    """Return the word for each unit by its topic; an alarm of several stands on each of them.

    Only what wakes a person makes a word: a low battery sounds no siren. What somebody has shelved sounds none either.
    """
    standing = [alarm for alarm in kitchen.active_alarms() if alarm.condition.wakes]
    found = {}
    for unit in kitchen.units.values():
        mine = [alarm for alarm in standing if alarm.condition.concerns(unit.id)]
        unheard = any(alarm.acknowledged_at is None and alarm.shelving is None for alarm in mine)
        found[_topic(topic, unit.site, unit.id)] = ALARM if unheard else ACKNOWLEDGED if mine else NONE
    return found


def _topic(topic: str, site: str, unit: str) -> str:
    return topic.replace("{site}", site).replace("{unit}", unit)


class Lamp:
    """Keeps the words of every unit on a board."""

    def __init__(self, board: Board, topic: str) -> None:
        self._board = board
        self._topic = topic
        self._shown: dict[str, str] = {}

    @property
    def connected(self) -> bool:
        """Return whether the broker hears of changes now."""
        return self._board.connected

    def start(self, kitchen: Kitchen) -> None:
        """Show how things stand, and keep showing it. Raises OSError."""
        self.show(kitchen)
        self._board.start()

    def show(self, kitchen: Kitchen) -> None:
        """Say what has changed; this waits for nobody."""
        self._shown = words_of(kitchen, self._topic)
        self._board.say(self._shown)

    def stop(self) -> None:
        """Say that from now on nothing is known of any unit."""
        self._board.stop(dict.fromkeys(self._shown, UNKNOWN))
