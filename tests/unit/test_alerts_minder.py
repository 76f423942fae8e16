"""The second watcher's loop: what it hears, whom it tells, what its log says, and that nothing ends it but a stop."""

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from time import monotonic

import pytest

from alerts.channels.base import Sent
from alerts.escalation import REPEAT_S, Telling
from alerts.minder import Minder
from alerts.minding import Answer, Heard, Timings
from collector.kitchen import Alarm

NAME = "Harbour kitchen"
SHORT = Timings(0.05, 0.05, 0.3)
Eventually = Callable[..., None]


@dataclass
class Way:
    """One way to people."""

    works: bool = True
    breaks: bool = False
    sent: list[tuple[str, str, str]] = field(default_factory=list)

    def send(self, telling: Telling, alarm: Alarm, first_line: str, body: str) -> Sent:
        self.sent.append((telling.person, telling.occasion, first_line))
        if self.breaks:
            raise RuntimeError("a gateway nobody knows")
        return Sent(self.works)


@dataclass
class Second:
    """A minder in a thread, and whoever answers its questions."""

    webhook: Way = field(default_factory=Way)
    mail: Way = field(default_factory=Way)
    heard: dict[str, Heard] = field(default_factory=lambda: {NAME: Heard.WELL})

    def __post_init__(self) -> None:
        self.minder = Minder(
            dict.fromkeys(self.heard, "Europe/London"), {"webhook": self.webhook, "email": self.mail},
            {"ana": ("webhook", "email"), "bo": ("email",)}, SHORT,
        )  # fmt: skip
        self.stop = threading.Event()
        self.asks = threading.Event()
        self.threads = [threading.Thread(target=self._answer), threading.Thread(target=self._run)]

    def _answer(self) -> None:
        while not self.stop.wait(0.05):
            if not self.asks.is_set():
                for name, heard in self.heard.items():
                    self.minder.heard(name, Answer(monotonic(), heard, "no answer within 5 s"))

    def _run(self) -> None:
        self.minder.run(self.stop, lambda: True)

    def __enter__(self) -> "Second":
        for thread in self.threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop.set()
        for thread in self.threads:
            thread.join(20.0)
        assert not any(thread.is_alive() for thread in self.threads)


def occasions(way: Way) -> list[tuple[str, str]]:
    return [(person, occasion) for person, occasion, _ in way.sent]


def test_everybody_is_told_at_once_the_next_way_tried_where_one_fails_and_the_end_told_to_all(
    eventually: Eventually, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.INFO), Second(webhook=Way(works=False)) as second:
        second.heard[NAME] = Heard.NOTHING
        eventually(lambda: len(second.mail.sent) == 2, "both are told")
        assert sorted(occasions(second.mail)) == [("ana", "raised"), ("bo", "raised")]
        assert occasions(second.webhook) == [("ana", "raised")]
        second.heard[NAME] = Heard.WELL
        eventually(lambda: len(second.mail.sent) == 4, "both hear that it is back")
    assert sorted(occasions(second.mail)[2:]) == [("ana", "returned"), ("bo", "returned")]
    said = caplog.text
    assert "event=no_good_answer name='Harbour kitchen' heard='does not answer' detail='no answer within 5 s'" in said
    assert "event=gone name='Harbour kitchen' silent_s=0" in said
    assert "event=told occasion='raised' person=ana way='webhook' state=failed" in said
    assert "event=told occasion='returned' person=bo way='email' state=accepted" in said
    assert "event=answers name='Harbour kitchen' after_failures=" in said


def test_one_that_is_gone_does_not_touch_another(eventually: Eventually) -> None:
    second = Second(heard={NAME: Heard.WELL, "Quay": Heard.NOTHING})
    with second:
        eventually(lambda: len(second.mail.sent) >= 1 and second.webhook.sent, "both are told of the quay")
        second.heard[NAME] = Heard.UNWELL
        eventually(lambda: len(second.mail.sent) >= 2, "and of the harbour")
    assert {line.split(" has not ")[0].split(" says that ")[0] for _, _, line in second.mail.sent} == {
        "Curevigil at Quay", "Curevigil at Harbour kitchen",
    }  # fmt: skip


def test_a_way_that_breaks_is_a_failed_way_and_the_loop_goes_on(eventually: Eventually) -> None:
    with Second(webhook=Way(breaks=True)) as second:
        second.heard[NAME] = Heard.NOTHING
        eventually(lambda: ("ana", "raised") in occasions(second.mail), "ana is told by the next way")


def test_a_fault_of_our_own_is_logged_and_the_loop_goes_on(
    eventually: Eventually, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    second = Second()
    faults: list[int] = []
    real = second.minder.step

    def stumbles() -> int:
        if not faults:
            faults.append(1)
            raise ValueError("nobody thought of that")
        return real()

    monkeypatch.setattr(second.minder, "step", stumbles)
    with second:
        second.heard[NAME] = Heard.NOTHING
        eventually(lambda: second.mail.sent, "it tells all the same")
    assert "minding stumbled" in caplog.text


def test_where_nobody_asks_any_more_it_ends_so_that_it_is_started_anew() -> None:
    minder = Minder({NAME: "UTC"}, {}, {"ana": ("webhook",)}, SHORT)
    with pytest.raises(SystemExit, match="nobody asks any more"):
        minder.run(threading.Event(), lambda: False)


def test_it_is_told_again_every_ten_minutes() -> None:
    assert REPEAT_S == 600.0
