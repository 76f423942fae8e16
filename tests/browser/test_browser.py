"""One night in a real browser: the whole app on stores in memory, the real watch and rules, a clock that is set."""

import re
import socket
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import Browser, Page, expect

from alerts.channels.log import LogChannel
from alerts.judgement import judged, limit_of
from alerts.rulebook.shelf import load
from alerts.service import Service
from alerts.trace import batch_history
from api.app import create_app
from api.auth.codes import issue_code
from api.chart_bundle import content
from api.office import Office, Settings
from api.serving import estimates_by_unit
from collector import events as e
from collector.batches import AsMade, Method, Packing, Placement, Plan, Route
from collector.events import Draft
from collector.present import Present
from collector.readings import Assignment, Quantity, Reading, Site, Unit
from collector.sample import Message
from collector.storage import Arrival, MemoryJournal, MemoryReadings, MemoryWorking

pytestmark = pytest.mark.browser

BEGIN = 1_795_561_200.0
"""2026-11-24T23:00:00Z, which is what the walls show too."""
BOOK = load("US")
PATIENCE_MS = 15_000
BEEF = Plan(
    "Brisket",
    "beef",
    "brisket",
    Method.IMMERSION,
    Packing.UNDER_BRINE,
    Route.COOKED,
    432_000.0,
    40.0,
    1.5,
    tau_s=7200.0,
)


@dataclass
class Night:
    """The kitchen of the test: what is measured is put in by hand, everything else is the real thing."""

    bundle: bytes | None
    now: float = BEGIN
    journal: MemoryJournal = field(default_factory=MemoryJournal)
    readings: MemoryReadings = field(default_factory=MemoryReadings)

    def __post_init__(self) -> None:
        self.present = Present(self.journal, self.clock)
        self.present.decide(lambda kitchen: described())
        self.service = Service(
            self.present,
            self.readings,
            lambda kitchen, lot, now: judged(kitchen, lot, self.readings.series, BOOK, now, "curevigil"),
            lambda kitchen, unit: limit_of(BOOK, unit),
            self.clock,
            {"log": LogChannel()},
            {},
        )
        self.measure("cold/air", 3.0)
        self.service.start()
        self.office = Office(
            present=self.present,
            journal=self.journal,
            readings=self.readings,
            working=MemoryWorking(),
            clock=self.clock,
            security_clock=self.clock,
            health=lambda: (),
            estimates=lambda: estimates_by_unit(self.service),
            history=lambda lot: batch_history(
                self.present.kitchen.batches[lot], self.present.kitchen, self.readings.series, self.now
            ),
            limit_of=lambda kitchen, unit: limit_of(BOOK, unit),
            rulebooks={"US": BOOK},
            charts=lambda: self.bundle,
            settings=Settings(plain_http=True, notice="The kitchen of a test; everything is invented."),
        )

    def clock(self) -> float:
        return self.now

    def measure(self, channel: str, value: float) -> None:
        reading = Reading(channel, self.now - 1.0, value, "Cel", self.now, self.now - 1.0)
        arrival = Arrival(Message(channel, b"", self.now), (reading,))
        self.readings.append([arrival])

    def pass_minutes(self, count: int, air_c: float) -> None:
        """Let time pass with the air of the cold room at a temperature, a reading a minute."""
        for _ in range(count):
            self.now += 60.0
            self.measure("cold/air", air_c)
            self.service.follow()
            self.service.tick()


def described() -> list[Draft]:
    people = e.PersonDescribed("ada", "Ada Brandt", ("operator", "approver", "admin"))
    said: list[e.Event] = [
        e.SiteDescribed(Site("quay", "Quay Kitchen", "Europe/London", "US")),
        e.UnitDescribed(Unit("coldroom", "quay", "Cold room", "cold room")),
        people,
    ]
    return [Draft(BEGIN - 3600.0, "system", event) for event in said]


@pytest.fixture(scope="module")
def bundle(tmp_path_factory: pytest.TempPathFactory) -> bytes | None:
    return content(Path(tmp_path_factory.mktemp("charts")))


@pytest.fixture
def night(bundle: bytes | None) -> Night:
    return Night(bundle)


@pytest.fixture
def address(night: Night) -> Iterator[str]:
    app = create_app(night.office)
    app.state.stopping = threading.Event()
    config = uvicorn.Config(app, log_config=None, lifespan="off", timeout_graceful_shutdown=5)
    server = uvicorn.Server(config)
    with socket.create_server(("127.0.0.1", 0)) as door:
        thread = threading.Thread(target=server.run, args=([door],), daemon=True)
        thread.start()
        yield f"http://127.0.0.1:{door.getsockname()[1]}"
        app.state.stopping.set()
        server.should_exit = True
        thread.join(10.0)
    assert not thread.is_alive()


def sign_in(page: Page, address: str, night: Night) -> None:
    code = issue_code(night.office.working, "ada", night.now, lasts_s=600.0)
    page.goto(address)
    page.get_by_label("Sign-in code").fill(code.lower())
    page.get_by_role("button", name="Go in").first.click()
    page.get_by_role("link", name="Later").click()
    expect(page.get_by_role("heading", name="Tonight")).to_be_visible()


def claim(page: Page) -> None:
    page.get_by_role("link", name="Channels").click()
    page.get_by_text("Claim it").click()
    page.get_by_label("Place, in words").fill("by the evaporator")
    page.get_by_role("button", name="Claim the channel").click()
    expect(page.get_by_text("The channel is claimed.")).to_be_visible()


def start(page: Page) -> None:
    page.get_by_role("link", name="Batches").click()
    page.get_by_role("link", name="Start a batch").click()
    form = page.locator("#start")
    typed = {
        "lot": "BRISKET-14", "plan.name": "Brisket, five days", "plan.cut": "brisket", "plan.cure_days": "5",
        "plan.thickness_mm": "40", "plan.meat_kg": "1.5", "plan.water_kg": "1.5", "plan.salt_kg": "0,15",
        "as_made.meat_kg": "1.5", "as_made.brine_c": "3.0", "as_made.meat_c": "3.0",
    }  # fmt: skip
    for name, value in typed.items():
        form.locator(f'[name="{name}"]').fill(value)
    form.locator('[name="plan.meat"]').select_option("beef")
    form.get_by_role("button", name="Start the batch").click()
    expect(page.get_by_text("The batch is started.")).to_be_visible()


def fits(page: Page) -> bool:
    """Return whether nothing has to be pushed sideways."""
    wide = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    return isinstance(wide, int) and wide <= 0


def test_a_night_from_signing_in_to_signing_a_hold(page: Page, address: str, night: Night) -> None:
    page.set_default_timeout(PATIENCE_MS)
    expect.set_options(timeout=PATIENCE_MS)
    sign_in(page, address, night)
    claim(page)
    start(page)
    night.pass_minutes(30, 3.0)
    page.get_by_role("link", name="Tonight").click()
    expect(page.get_by_text("No alarm stands.")).to_be_visible()
    expect(page.get_by_text("No limit in sight (estimate).")).to_be_visible()

    loaded = page.evaluate("performance.timeOrigin")
    night.pass_minutes(45, 14.0)
    alarm = page.get_by_role("heading", name=re.compile("Cold room: meat (may pass|has been above) 5.0 °C"))
    expect(alarm).to_be_visible()
    assert page.evaluate("performance.timeOrigin") == loaded, "the alarm came by itself, without loading the page anew"
    assert fits(page)

    page.get_by_role("button", name="I am going").click()
    expect(page.get_by_text("Ada Brandt is going, there by")).to_be_visible()
    standing = next(iter(night.present.kitchen.active_alarms()))
    assert (standing.acknowledged_by, standing.answer) == ("ada", "going")

    page.locator("#units").get_by_role("link", name="BRISKET-14").click()
    expect(page.locator(".chart svg")).to_be_visible()
    page.get_by_text("Enter a hand reading").click()
    page.get_by_label("It reads").fill("8,2")
    page.get_by_label("With which probe or instrument").fill("hand probe 1")
    page.locator("#hand").get_by_role("button").click()
    expect(page.get_by_text("Measured by hand: 8.2 °C, brine, BRISKET-14")).to_be_visible()

    night.pass_minutes(6 * 60, 14.0)
    expect(page.get_by_text("Proposed: HOLD.", exact=True)).to_be_visible()
    page.get_by_text("Decide and sign").click()
    sign = page.locator("#sign")
    assert sign.locator('[name="disposition"]').input_value() == "hold"
    sign.get_by_label("Because").fill("Above the limit all night; the core is not measured yet.")
    sign.get_by_label("While it is held").fill("bottom shelf, red label")
    sign.get_by_role("button").click()
    expect(page.locator(".proposal").get_by_text("Signed: hold.")).to_be_visible()
    signed = night.present.kitchen.sign_off_of("BRISKET-14")
    assert signed is not None
    assert (signed.sign_off.person, signed.sign_off.where_kept) == ("ada", "bottom shelf, red label")
    assert fits(page)


@pytest.mark.parametrize("width", [390, 1280])
def test_no_page_has_to_be_pushed_sideways_and_each_has_one_heading(
    browser: Browser, page: Page, address: str, night: Night, width: int
) -> None:
    page.set_viewport_size({"width": width, "height": 844})
    sign_in(page, address, night)
    claim(page)
    start(page)
    places = ("/", "/units/coldroom", "/batches", "/batches/BRISKET-14", "/batches/new", "/channels", "/journal")
    for path in (*places, "/read", "/people"):
        page.goto(address + path)
        assert fits(page), path
        assert page.locator("h1").count() == 1, path


def test_pages_work_without_script(browser: Browser, address: str, night: Night) -> None:
    context = browser.new_context(java_script_enabled=False, viewport={"width": 390, "height": 844})
    page = context.new_page()
    try:
        sign_in(page, address, night)
        claim(page)
        start(page)
    finally:
        context.close()
    assert "BRISKET-14" in night.present.kitchen.batches


def furnished(night: Night) -> None:
    """Have the air of the cold room watched, and a batch in it."""
    said: list[e.Event] = [
        e.ChannelAssigned(Assignment("cold/air", Quantity.AIR_TEMPERATURE, "coldroom", "wall", BEGIN - 3600.0)),
        e.BatchStarted("B1", BEEF, AsMade(1.5, 1.5, brine_c=3.0, meat_c=3.0), (Placement("1", "coldroom", BEGIN),)),
    ]
    night.present.decide(lambda kitchen: [Draft(BEGIN, "ada", event) for event in said])
    night.pass_minutes(10, 3.0)


def test_a_page_left_open_rings_for_an_alarm_once_sound_is_on_and_until_somebody_answers(
    page: Page, address: str, night: Night
) -> None:
    page.set_default_timeout(PATIENCE_MS)
    expect.set_options(timeout=PATIENCE_MS)
    furnished(night)
    page.clock.install()
    sign_in(page, address, night)
    sound = page.locator("#sound")
    expect(sound).to_contain_text("Sound is off.")
    assert sound.get_attribute("data-rang") == "0"
    sound.get_by_role("button", name="Sound on").click()
    expect(sound).to_contain_text("Sound is on while this page stays open.")
    expect(sound.get_by_role("button", name="Sound off")).to_be_visible()
    assert fits(page)
    assert sound.get_attribute("data-rang") == "0", "nothing stands, so nothing rings"

    night.pass_minutes(60, 14.0)
    expect(page.get_by_text("nobody has answered")).to_be_visible()
    expect(sound).to_have_attribute("data-rang", "1")
    page.clock.fast_forward(31_000)
    expect(sound).to_have_attribute("data-rang", "2")
    page.clock.fast_forward(10_000)
    assert sound.get_attribute("data-rang") == "2", "it rings every half minute, not more often"

    page.get_by_role("button", name="I am going").click()
    expect(page.get_by_text("Ada Brandt is going, there by")).to_be_visible()
    expect(sound).to_contain_text("Sound is off.")
    sound.get_by_role("button", name="Sound on").click()
    expect(sound).to_contain_text("Sound is on")
    page.clock.fast_forward(61_000)
    assert sound.get_attribute("data-rang") == "0", "an answered alarm does not ring"
    sound.get_by_role("button", name="Sound off").click()
    expect(sound).to_contain_text("Sound is off.")


def test_a_page_that_lost_its_connection_says_that_it_would_ring_for_nothing(
    page: Page, address: str, night: Night
) -> None:
    page.set_default_timeout(PATIENCE_MS)
    expect.set_options(timeout=PATIENCE_MS)
    sign_in(page, address, night)
    sound = page.locator("#sound")
    sound.get_by_role("button", name="Sound on").click()
    expect(sound).to_contain_text("Sound is on while this page stays open.")
    page.context.set_offline(True)
    furnished(night)
    expect(sound).to_contain_text("no connection: no alarm would be heard")
    page.context.set_offline(False)
    night.pass_minutes(1, 3.0)
    expect(sound).to_contain_text("Sound is on while this page stays open.")


def test_without_script_nothing_is_said_of_sound(browser: Browser, address: str, night: Night) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    try:
        sign_in(page, address, night)
        expect(page.locator("#sound")).to_be_hidden()
    finally:
        context.close()
