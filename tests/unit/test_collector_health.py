from collector.health import Health, State


def test_since_stays_while_the_state_does() -> None:
    health = Health()
    health.say("broker", State.FAILED, "It cannot be reached.", 10.0)
    health.say("broker", State.FAILED, "It refused us.", 20.0)
    part = health.part("broker")
    assert part is not None
    assert (part.since_at, part.sentence) == (10.0, "It refused us.")
    health.say("broker", State.WORKS, "Connected.", 30.0)
    part = health.part("broker")
    assert part is not None
    assert part.since_at == 30.0


def test_numbers_stay_when_the_sentence_changes_and_a_copy_taken_before_does_not() -> None:
    health = Health()
    health.say("intake", State.WORKS, "Readings are taken.", 1.0)
    health.count("intake", {"messages": 3, "waiting": 1})
    before = health.part("intake")
    health.count("intake", {"messages": 4})
    health.say("intake", State.FAILED, "The disk is full.", 2.0)
    after = health.part("intake")
    assert before is not None and after is not None
    assert dict(before.numbers) == {"messages": 3, "waiting": 1}
    assert dict(after.numbers) == {"messages": 4, "waiting": 1}


def test_one_failed_part_fails_the_whole_and_a_doubtful_one_does_not() -> None:
    health = Health()
    assert not health.fails()
    health.say("broker", State.DOUBTFUL, "Its session is short.", 1.0)
    assert not health.fails()
    health.say("intake", State.FAILED, "The disk is full.", 1.0)
    assert health.fails()
    assert [part.name for part in health.parts()] == ["broker", "intake"]


def test_a_part_that_has_said_nothing_has_no_numbers() -> None:
    health = Health()
    health.count("intake", {"messages": 1})
    assert health.part("intake") is None
