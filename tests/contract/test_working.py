"""What every `Working` promises: small things that come, expire and go."""

import threading
from collections.abc import Callable

from collector.storage import Working

NOW = 1_767_268_800.0


def test_what_was_put_is_there_until_it_is_removed(working: Working) -> None:
    assert working.get("session", "a", NOW) is None
    working.put("session", "a", {"person": "kim", "n": 3, "parts": [1, {"x": None}], "ö": "✓"})
    assert working.get("session", "a", NOW) == {"person": "kim", "n": 3, "parts": [1, {"x": None}], "ö": "✓"}
    assert working.get("token", "a", NOW) is None
    working.remove("session", "a")
    working.remove("session", "a")
    assert working.get("session", "a", NOW) is None


def test_putting_again_replaces_the_value_and_its_time(working: Working) -> None:
    working.put("session", "a", {"n": 1}, until_at=NOW + 1)
    working.put("session", "a", {"m": 2})
    assert working.get("session", "a", NOW + 100) == {"m": 2}
    working.put("session", "a", {"m": 3}, until_at=NOW + 1)
    assert working.get("session", "a", NOW + 100) is None


def test_a_thing_is_gone_from_the_instant_its_time_passes(working: Working) -> None:
    working.put("session", "a", {}, until_at=NOW + 0.5)
    assert working.get("session", "a", NOW + 0.499) == {}
    assert working.get("session", "a", NOW + 0.5) is None
    assert working.all("session", NOW + 0.5) == {}
    assert working.take("session", "a", NOW + 0.5) is None


def test_all_gives_the_living_of_one_kind_by_key_in_order(working: Working) -> None:
    for key in ("b", "Z", "a", "ä", "10", "9"):
        working.put("person", key, {"key": key})
    working.put("person", "dead", {}, until_at=NOW)
    working.put("other", "c", {})
    assert list(working.all("person", NOW)) == ["10", "9", "Z", "a", "b", "ä"]
    assert working.all("person", NOW)["a"] == {"key": "a"}
    assert working.all("nothing", NOW) == {}


def test_taking_gives_a_thing_once(working: Working) -> None:
    working.put("code", "1234", {"for": "kim"})
    assert working.take("code", "1234", NOW) == {"for": "kim"}
    assert working.take("code", "1234", NOW) is None
    assert working.get("code", "1234", NOW) is None


def test_of_many_that_take_at_once_only_one_gets_it(working: Working) -> None:
    for turn in range(20):
        working.put("code", str(turn), {"turn": turn})
    got: list[object] = []

    def take_all() -> None:
        for turn in range(20):
            value = working.take("code", str(turn), NOW)
            if value is not None:
                got.append(value["turn"])

    threads = [threading.Thread(target=take_all) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(got, key=str) == sorted(range(20), key=str)


def test_sweeping_removes_what_has_expired_and_counts_it(working: Working) -> None:
    working.put("a", "1", {}, until_at=NOW)
    working.put("a", "2", {}, until_at=NOW + 0.001)
    working.put("b", "1", {}, until_at=NOW - 10)
    working.put("b", "2", {})
    assert working.sweep(NOW) == 2
    assert working.sweep(NOW) == 0
    assert list(working.all("a", NOW)) == ["2"]
    assert list(working.all("b", NOW)) == ["2"]


def test_a_caller_cannot_change_what_is_kept_through_what_it_got(working: Working) -> None:
    given: dict[str, object] = {"n": 1}
    working.put("a", "1", given)
    given["n"] = 2
    got = working.get("a", "1", NOW)
    assert got == {"n": 1}
    got["n"] = 3
    assert working.get("a", "1", NOW) == {"n": 1}


def test_what_was_kept_is_there_when_it_is_opened_again(open_working: Callable[[], Working]) -> None:
    open_working().put("person", "kim", {"phone": "+44"}, until_at=NOW + 5)
    again = open_working()
    assert again.get("person", "kim", NOW) == {"phone": "+44"}
    assert again.get("person", "kim", NOW + 5) is None


def test_closing_twice_does_nothing(working: Working) -> None:
    working.close()
    working.close()
