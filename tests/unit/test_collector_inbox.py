import threading
from collections.abc import Callable

from collector.inbox import Delivery, Inbox
from collector.sample import Message


def delivery(number: int, payload: bytes = b"1") -> Delivery:
    return Delivery(Message("a", payload, float(number)), 1, number, 1)


def numbers(taken: list[Delivery]) -> list[int]:
    return [d.mid for d in taken]


def test_what_is_put_is_taken_in_order_up_to_the_limit() -> None:
    inbox = Inbox()
    for number in range(5):
        assert inbox.put(delivery(number), 0)
    assert numbers(inbox.take(3, 0)) == [0, 1, 2]
    assert numbers(inbox.take(3, 0)) == [3, 4]
    assert inbox.take(3, 0) == []


def test_a_full_inbox_takes_nothing_until_there_is_room() -> None:
    inbox = Inbox(messages_max=2)
    assert inbox.put(delivery(0), 0)
    assert inbox.put(delivery(1), 0)
    assert not inbox.put(delivery(2), 0)
    inbox.take(1, 0)
    assert inbox.put(delivery(2), 0)
    assert numbers(inbox.take(9, 0)) == [1, 2]


def test_large_payloads_fill_it_before_their_number_does() -> None:
    inbox = Inbox(bytes_max=10_000)
    assert inbox.put(delivery(0, b"x" * 9_600), 0)
    assert not inbox.put(delivery(1), 0)


def test_one_payload_larger_than_the_bound_still_passes() -> None:
    inbox = Inbox(bytes_max=10)
    assert inbox.put(delivery(0, b"x" * 100), 0)
    assert numbers(inbox.take(1, 0)) == [0]


def test_clearing_makes_room_and_says_how_many_were_forgotten() -> None:
    inbox = Inbox(messages_max=2, bytes_max=2_000)
    inbox.put(delivery(0, b"x" * 1_000), 0)
    inbox.put(delivery(1, b"x" * 1_000), 0)
    assert inbox.clear() == 2
    assert inbox.put(delivery(2, b"x" * 1_000), 0)
    assert numbers(inbox.take(9, 0)) == [2]


def test_whoever_waits_for_room_goes_on_as_soon_as_there_is_some(eventually: Callable[..., None]) -> None:
    inbox = Inbox(messages_max=1)
    inbox.put(delivery(0), 0)
    put: list[bool] = []
    filler = threading.Thread(target=lambda: put.append(inbox.put(delivery(1), 20.0)))
    filler.start()
    assert numbers(inbox.take(1, 0)) == [0]
    assert numbers(inbox.take(1, 20.0)) == [1]
    filler.join(20.0)
    assert put == [True]


def test_a_waiting_group_is_taken_as_soon_as_it_is_full() -> None:
    inbox = Inbox()
    taken: list[list[Delivery]] = []
    taker = threading.Thread(target=lambda: taken.append(inbox.take(3, 20.0, 20.0)))
    taker.start()
    for number in range(3):
        inbox.put(delivery(number), 0)
    taker.join(15.0)
    assert [numbers(group) for group in taken] == [[0, 1, 2]]
