"""Whatever is due goes out in exactly one letter, and nothing that wakes somebody waits in a list."""

from hypothesis import given
from hypothesis import strategies as st

from alerts.escalation import Telling
from alerts.letters import letters
from collector.findings import Condition
from collector.kitchen import Alarm, Kitchen

NAMES = [f"A{n}" for n in range(6)]


@st.composite
def alarms(draw: st.DrawFn) -> Kitchen:
    """Return a kitchen with alarms that wake or do not, stand or are over, with or without an early time."""
    made = {}
    for name in draw(st.sets(st.sampled_from(NAMES))):
        early = draw(st.none() | st.floats(0.0, 1e6))
        condition = Condition(
            "u", draw(st.sampled_from(["x", "product_warm"])), "sensor", draw(st.booleans()), 0.0, (), early
        )
        made[name] = Alarm(
            name, condition, draw(st.floats(0.0, 1e6)), returned_at=draw(st.none() | st.floats(0.0, 1e6))
        )
    return Kitchen(alarms=made)


TELLINGS = st.lists(
    st.builds(
        Telling, st.sampled_from(NAMES), st.sampled_from(["raised", "changed 1"]), st.sampled_from(["ana", "bo"]),
        st.sampled_from(["hook", "log"]),
    ),
    unique=True,
)  # fmt: skip


@given(alarms(), TELLINGS)
def test_every_telling_goes_out_exactly_once(kitchen: Kitchen, tellings: list[Telling]) -> None:
    out = [telling for letter in letters(kitchen, tellings) for telling in letter]
    assert sorted(out, key=repr) == sorted(tellings, key=repr)


@given(alarms(), TELLINGS)
def test_a_list_has_one_person_and_one_way_and_nothing_in_it_wakes_anybody(
    kitchen: Kitchen, tellings: list[Telling]
) -> None:
    seen = set()
    for letter in letters(kitchen, tellings):
        assert len({(t.person, t.channel) for t in letter}) == 1
        standing = [kitchen.alarm(t.alarm) for t in letter]
        if len(letter) > 1:
            assert all(a is not None and a.active and not a.condition.wakes for a in standing)
            key = (letter[0].person, letter[0].channel)
            assert key not in seen, "one list for each person and way"
            seen.add(key)
