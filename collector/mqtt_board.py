"""What this program itself says on the broker: retained messages, said again after every connection. Shell.

Its connection is another one than that of the readings: what is said here can never hold up what is heard there.
"""

import logging
import ssl
import threading
from collections.abc import Mapping

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from collector.broker import PAUSES_S, Broker

log = logging.getLogger(__name__)

KEEPALIVE_S = 15
"""House: a broker notices within half as much again that this program is gone. [s]"""
GOODBYE_S = 2.0
RUNS, GONE = "watching", "gone"


class Board:
    """Keeps one retained message on each of its topics, and on `status_topic` whether this program runs.

    When the connection ends without a goodbye, the broker itself says GONE there (the will of MQTT).
    """

    def __init__(self, broker: Broker, status_topic: str, *, pauses_s: tuple[float, float] = PAUSES_S) -> None:
        self.connected = False
        self._broker = broker
        self._status_topic = status_topic
        self._lock = threading.Lock()
        self._said: dict[str, str] = {}
        modern = broker.protocol == "5"
        client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"{broker.client_id}-board",
            clean_session=None if modern else True,
            protocol=paho.MQTTv5 if modern else paho.MQTTv311,
        )
        if broker.username is not None:
            client.username_pw_set(broker.username, broker.password)
        client.will_set(status_topic, GONE, qos=1, retain=True)
        client.reconnect_delay_set(*(max(1, round(pause_s)) for pause_s in pauses_s))
        client.on_connect = lambda *given: self._on_connect(bool(given[3].is_failure))
        client.on_disconnect = lambda *given: self._on_disconnect()
        self._client = client

    def start(self) -> None:
        """Begin to connect; a broker that is away is tried again until it is back. Raises OSError, ssl.SSLError."""
        if self._broker.tls:
            self._client.tls_set_context(ssl.create_default_context(cafile=self._broker.authority_file))
        self._client.connect_async(self._broker.address, self._broker.port, KEEPALIVE_S)
        self._client.loop_start()

    def say(self, words: Mapping[str, str]) -> None:
        """Keep these words on these topics; what stands there already is not sent again."""
        with self._lock:
            fresh = {topic: word for topic, word in words.items() if self._said.get(topic) != word}
            self._said.update(fresh)
            if self.connected:
                self._publish(fresh)

    def stop(self, words: Mapping[str, str]) -> None:
        """Leave these words behind, and that this program is gone; then hang up."""
        self.say({**words, self._status_topic: GONE})
        if self.connected:
            last = self._client.publish(self._status_topic, GONE, qos=1, retain=True)
            try:
                last.wait_for_publish(GOODBYE_S)
            except (RuntimeError, ValueError) as fault:
                log.debug("the goodbye was not taken: %s", fault)
        self._client.disconnect()
        self._client.loop_stop()

    def _publish(self, words: Mapping[str, str]) -> None:
        for topic, word in words.items():
            self._client.publish(topic, word, qos=1, retain=True)

    # From here on: paho's thread, which an exception would end.

    def _on_connect(self, refused: bool) -> None:
        if refused:
            log.warning("event=board_refused broker=%s", self._broker)
            return
        with self._lock:
            self.connected = True
            # The broker may have lost what it kept, and says GONE itself where the last connection broke.
            self._publish({**self._said, self._status_topic: RUNS})
        log.info("event=board_connected broker=%s topics=%d", self._broker, len(self._said))

    def _on_disconnect(self) -> None:
        self.connected = False
