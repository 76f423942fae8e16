"""The collector alone, as a program that a test can kill: `collector_under_test.py PORT FOLDER`."""

import json
import logging
import signal
import sys
import threading
import time
from pathlib import Path

from collector.broker import Broker
from collector.events import GapSuspected
from collector.health import Health
from collector.inbox import Inbox
from collector.ingest import Ingest, last_received_at
from collector.message import Source
from collector.mqtt import Link
from collector.readings_sqlite import SqliteReadings


def main(port: int, folder: Path) -> None:
    logging.basicConfig(level=logging.INFO, stream=sys.stderr, format="%(asctime)s %(name)s %(message)s")
    readings = SqliteReadings(folder / "readings.sqlite")
    health = Health()
    broker = Broker("127.0.0.1", port, topics=("rooms/#",))
    link = Link(broker, Inbox(), time.time, health, last_at=last_received_at(readings), pauses_s=(0.05, 0.5))

    def record(gap: GapSuspected) -> None:
        with (folder / "gaps.jsonl").open("a") as file:
            file.write(json.dumps([gap.from_at, gap.until_at, gap.cause]) + "\n")

    sources = (Source("rooms/#", "senml"),)
    ingest = Ingest(readings, link, sources, time.time, lambda group: None, health, on_gap=record)
    stop = threading.Event()
    signal.signal(signal.SIGTERM, lambda *given: stop.set())
    ingest.start()
    stop.wait()
    ingest.stop()
    readings.close()


if __name__ == "__main__":
    main(int(sys.argv[1]), Path(sys.argv[2]))
