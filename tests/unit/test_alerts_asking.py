"""Asking another installation whether it works: whatever comes back, the question ends in its time with a word."""

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from time import monotonic

import pytest

from alerts.asking import Asker, Door, ask_all
from alerts.minding import MOST_BYTES, Answer, Heard, Timings

Serve = Callable[[Callable[[socket.socket], None]], Door]
TIMEOUT_S = 0.6


@pytest.fixture
def serve() -> Iterator[Serve]:
    """`serve(speak)`: a place on loopback where every caller is spoken to like that."""
    stopped = threading.Event()
    threads = []

    def made(speak: Callable[[socket.socket], None]) -> Door:
        listening = socket.create_server(("127.0.0.1", 0))
        listening.settimeout(0.1)

        def answer() -> None:
            with listening:
                while not stopped.is_set():
                    with suppress(TimeoutError), listening.accept()[0] as line, suppress(OSError):
                        line.settimeout(5.0)
                        line.recv(4096)
                        speak(line)

        thread = threading.Thread(target=answer, daemon=True)
        thread.start()
        threads.append(thread)
        return Door(f"http://127.0.0.1:{listening.getsockname()[1]}")

    yield made
    stopped.set()
    for thread in threads:
        thread.join(5.0)


def says(text: bytes) -> Callable[[socket.socket], None]:
    return lambda line: line.sendall(text)


def whole(status: str, body: bytes, *more: str) -> bytes:
    lines = [f"HTTP/1.1 {status}", f"content-length: {len(body)}", "connection: close", *more, "", ""]
    return "\r\n".join(lines).encode() + body


def dribbles(begin: bytes, piece: bytes) -> Callable[[socket.socket], None]:
    """Say something, then a little more each while, for ever."""

    def speak(line: socket.socket) -> None:
        line.sendall(begin)
        pause, until_s = threading.Event(), monotonic() + 4.0
        while monotonic() < until_s:
            line.sendall(piece)
            pause.wait(0.02)

    return speak


def asked(door: Door) -> Answer:
    return ask_all({"one": door}, TIMEOUT_S)["one"]


def test_it_works_only_by_its_own_word(serve: Serve) -> None:
    assert asked(serve(says(whole("200 OK", b'{"works": true}')))).heard is Heard.WELL
    assert asked(serve(says(whole("200 OK", b'{"works": true, "more": [1]}')))).heard is Heard.WELL


@pytest.mark.parametrize(
    ("status", "body"),
    [("503 Service Unavailable", b'{"works": false}'), ("200 OK", b'{"works": false}'),
     ("503 Service Unavailable", b'{"works": true}')],
)  # fmt: skip
def test_a_body_or_a_status_that_says_otherwise_is_its_word_that_it_does_not(
    serve: Serve, status: str, body: bytes
) -> None:
    assert asked(serve(says(whole(status, body)))).heard is Heard.UNWELL


ODD = [
    ("a page", whole("200 OK", b"<html>Sign in</html>"), "not Curevigil (HTTP 200)"),
    ("a text for a truth", whole("200 OK", b'{"works": "true"}'), "not Curevigil (HTTP 200)"),
    ("a list", whole("200 OK", b"[true]"), "not Curevigil (HTTP 200)"),
    ("nothing", whole("200 OK", b""), "not Curevigil (HTTP 200)"),
    ("deep", whole("200 OK", b"[" * 60_000), "not Curevigil (HTTP 200)"),
    ("no text", whole("200 OK", b"\xff\xfe\x00"), "not Curevigil (HTTP 200)"),
    ("a proxy's word", whole("502 Bad Gateway", b"Bad Gateway"), "not Curevigil (HTTP 502)"),
    ("a huge body", whole("200 OK", b" " * (4 * MOST_BYTES) + b'{"works": true}'), "not Curevigil (HTTP 200)"),
    ("elsewhere", whole("302 Found", b'{"works": true}', "location: http://127.0.0.1:1/"), "it sends elsewhere"),
    ("packed", whole("200 OK", b"\x1f\x8b\x08\x00rubbish", "content-encoding: gzip"), "not Curevigil (HTTP 200)"),
    ("no HTTP", b"220 mail.example ESMTP\r\n", "no answer (RemoteProtocolError)"),
    ("hung up on", b"", "no answer (RemoteProtocolError)"),
    ("cut short", b'HTTP/1.1 200 OK\r\ncontent-length: 99\r\n\r\n{"works": true}', "no answer (RemoteProtocolError)"),
    ("headers without end", b"HTTP/1.1 200 OK\r\n" + b"x: y\r\n" * 100_000, "no answer (RemoteProtocolError)"),
]


@pytest.mark.parametrize(("text", "detail"), [row[1:] for row in ODD], ids=[row[0] for row in ODD])
def test_an_odd_answer_is_none(serve: Serve, text: bytes, detail: str) -> None:
    answer = asked(serve(says(text)))
    assert answer.heard is Heard.NOTHING
    assert detail in answer.detail


@pytest.mark.parametrize(
    ("begin", "piece"),
    [(b"HTTP/1.1 200 OK\r\n\r\n", b" "), (b"HTTP/1.1 200 OK\r\n", b"x: y\r\n"), (b"", b"H"), (b"", b"")],
    ids=["a body without end", "a header at a time", "a letter at a time", "silence"],
)
def test_what_never_ends_is_given_up_in_its_time(serve: Serve, begin: bytes, piece: bytes) -> None:
    door = serve(dribbles(begin, piece))
    begun_s = monotonic()
    answer = asked(door)
    assert answer.heard is Heard.NOTHING
    assert monotonic() - begun_s < TIMEOUT_S + 2.0


def test_a_stream_without_end_that_is_fast_is_read_to_a_bound(serve: Serve) -> None:
    answer = asked(serve(dribbles(b"HTTP/1.1 200 OK\r\n\r\n", b" " * MOST_BYTES)))
    assert answer.detail == "what answers in its place is not Curevigil (HTTP 200)"


def test_nobody_there_and_no_such_name_are_told_apart_from_silence() -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    answers = ask_all({"a": Door(f"http://127.0.0.1:{port}"), "b": Door("http://nobody.invalid")}, 5.0)
    assert answers["a"] == Answer(answers["a"].at_s, Heard.NOTHING, "the connection is refused")
    assert answers["b"].heard is Heard.NOTHING


def test_one_that_hangs_does_not_keep_the_others_from_being_asked(
    serve: Serve, eventually: Callable[..., None]
) -> None:
    doors = {
        "hangs": serve(dribbles(b"", b"")),
        "works": serve(says(whole("200 OK", b'{"works": true}'))),
    }
    heard: list[tuple[str, Answer]] = []
    asker = Asker(doors, Timings(0.05, 0.3, 10.0), lambda name, answer: heard.append((name, answer)))
    asker.start()
    eventually(lambda: sum(name == "works" for name, _ in heard) >= 10, "the one that works was asked ten times")
    eventually(lambda: sum(name == "hangs" for name, _ in heard) >= 2, "the one that hangs was asked again")
    assert asker.alive
    assert {answer.heard for name, answer in heard if name == "works"} == {Heard.WELL}


def test_health_is_asked_below_the_address_unless_it_stands_there() -> None:
    assert Door("https://kitchen.example").url == "https://kitchen.example/health"
    assert Door("https://kitchen.example/curevigil/health").url == "https://kitchen.example/curevigil/health"
