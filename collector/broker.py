"""Where the broker is, which version of MQTT to try with it, and when to try again. Pure: no clock, no I/O."""

from dataclasses import dataclass, field
from random import Random
from typing import Literal, TypeAlias

Protocol: TypeAlias = Literal["5", "3.1.1"]
OTHER: dict[Protocol, Protocol] = {"5": "3.1.1", "3.1.1": "5"}
WEEK_S = 7 * 86_400
PAUSES_S = (1.0, 30.0)
"""The shortest and the longest pause between two attempts to connect. House choice. [s]"""
JITTER = 0.3
"""Share by which a pause is made longer or shorter, so that not everybody comes back at once after a power cut."""
STEADY_S = 5.0
"""A connection that lasted so long was a good one: the next attempt follows soon. House choice. [s]"""
UNSUPPORTED_PROTOCOL = 0x84
"""Reason code `Unsupported Protocol Version` (MQTT 5.0, 3.2.2.2)."""


@dataclass(frozen=True, slots=True)
class Broker:
    """Where the broker is and how to speak with it."""

    address: str
    port: int = 1883
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: bool = False
    authority_file: str | None = None
    """Path of the certificates to believe about the broker's name; None for the system's authorities."""
    client_id: str = "curevigil"
    protocol: Literal["auto", "5", "3.1.1"] = "auto"
    topics: tuple[str, ...] = ("#",)
    own: tuple[str, ...] = ()
    """Topics on which we hear ourselves: subscribed too, and a broker that refuses them still gives us the readings."""
    session_expiry_s: int = WEEK_S
    """How long the broker is asked to keep what arrives while we are away. [s]"""
    receive_maximum: int = 500
    """How many messages an MQTT 5 broker may send ahead of our acknowledgements."""

    def __post_init__(self) -> None:
        if not self.topics:
            raise ValueError("without a topic nothing would ever arrive")
        if not self.client_id:
            raise ValueError("the broker keeps a session only for a client that has an id")
        if self.session_expiry_s < WEEK_S:
            raise ValueError(f"a session of {self.session_expiry_s} s is forgotten too soon; at least {WEEK_S}")

    def __str__(self) -> str:
        return f"{self.address}:{self.port}"


@dataclass
class Attempt:
    """One attempt to connect, and the connection that it became."""

    protocol: Protocol
    reached: bool = False
    """Somebody took the call."""
    answered: bool = False
    """The broker has let us in."""
    refused: int = 0
    """Reason code with which it did not; 0 where it gave none."""
    ended: str = "the connection was lost"


class Choice:
    """Which version of MQTT the next attempt speaks, and how long to wait before it."""

    def __init__(self, broker: Broker, chance: Random, pauses_s: tuple[float, float] = PAUSES_S) -> None:
        self._auto = broker.protocol == "auto"
        self.works_with: Protocol | None = None if broker.protocol == "auto" else broker.protocol
        """The version that the broker has spoken with us, or that was set; None while neither."""
        self.protocol: Protocol = self.works_with or "5"
        self._chance = chance
        self._pauses_s = pauses_s
        self._short_lived = 0
        self.brief = 0
        """How many connections in a row the broker let us into and ended soon after."""

    @property
    def may_fall_back(self) -> bool:
        """Return whether silence would be answered with the other version."""
        return self._auto and self.works_with is None

    def works(self, attempt: Attempt) -> None:
        """Remember the version that the broker let us in with."""
        self.works_with = self.protocol = attempt.protocol

    def after(self, attempt: Attempt, lasted_s: float) -> float:
        """Choose the version for the next attempt, and return how long to wait before it. [s]

        The other version follows where the broker does not know this one, or took the call and never answered (there
        are brokers of MQTT 3.1.1 that hang up on a newer client without a word) and nothing ever worked with it.
        """
        steady = lasted_s >= STEADY_S
        if attempt.answered:
            self.brief = 0 if steady else self.brief + 1
        self._short_lived = 0 if attempt.answered and steady else self._short_lived + 1
        if self._changes(attempt):
            self.protocol = OTHER[attempt.protocol]
            if self.protocol == "3.1.1":
                return 0.0
        shortest, longest = self._pauses_s
        pause_s = min(longest, shortest * 2.0 ** min(max(self._short_lived - 1, 0), 30))
        return pause_s * self._chance.uniform(1 - JITTER, 1 + JITTER)

    def _changes(self, attempt: Attempt) -> bool:
        if not self._auto or attempt.answered:
            return False
        if attempt.refused == UNSUPPORTED_PROTOCOL:
            self.works_with = None
            return True
        return self.works_with is None and attempt.reached and not attempt.refused
