"""`curevigil mind`: which settings it takes, and what it says at once."""

import json
import threading
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from api.cli import main
from api.mind_command import NOT_WELL
from collector.settings import Settings, parse

DEPLOY = Path(__file__).resolve().parents[2] / "deploy"
REACH = '[[reach]]\nperson = "ana"\nchannel = "webhook"\naddress = "env:HOOK"\n'
ENVIRON = {
    "HOOK": "https://hooks.example/a1b2",
    "CUREVIGIL_INES_WEBHOOK": "https://hooks.example/a1b2",
    "CUREVIGIL_INES_SIGNING": "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",
    "CUREVIGIL_INES_EMAIL": "ines@kitchen.example",
    "CUREVIGIL_INES_PUSH": "json://push.example/a1b2",
    "CUREVIGIL_SMTP_PASSWORD": "correct horse",
}
"""All but the broker's password."""
Run = Callable[..., Result]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """`run(settings, "URL", "--once")`: the command on a settings file with this text."""

    def call(settings: str, *words: str) -> Result:
        (tmp_path / "s.toml").write_text(settings, encoding="utf-8")
        found = CliRunner().invoke(main, ["mind", *words, "--config", str(tmp_path / "s.toml")], env=ENVIRON)
        assert found.exception is None or isinstance(found.exception, SystemExit), found.exc_info
        return found

    return call


@pytest.fixture
def health() -> Iterator[tuple[str, dict[str, object]]]:
    """An address, and what its /health says."""
    said: dict[str, object] = {"works": True}

    class Say(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            body = json.dumps(said).encode()
            self.send_response(200 if said["works"] is True else 503)
            self.send_header("content-length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, format: str, *args: object) -> None:
            return None

    web = HTTPServer(("127.0.0.1", 0), Say)
    thread = threading.Thread(target=web.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{web.server_port}", said
    web.shutdown()
    thread.join()
    web.server_close()


def test_once_says_of_each_what_came_of_it_and_ends_with_a_status(
    run: Run, health: tuple[str, dict[str, object]]
) -> None:
    url, said = health
    named = REACH + f'[[mind]]\naddress = "{url}"\nname = "Harbour kitchen"\n'
    found = run(named, "--once")
    assert (found.exit_code, found.stdout) == (0, "Harbour kitchen: works\n")
    said["works"] = False
    found = run(named, "http://127.0.0.1:1/", url, "--once")
    assert found.exit_code == NOT_WELL
    assert found.stdout.splitlines() == [
        "Harbour kitchen: says that it does not work",
        "127.0.0.1:1: does not answer (the connection is refused)",
    ]


def test_the_settings_of_a_whole_installation_serve_without_the_secrets_of_its_broker(
    run: Run, health: tuple[str, dict[str, object]]
) -> None:
    text = (DEPLOY / "curevigil.example.toml").read_text(encoding="utf-8")
    assert 'password = "env:CUREVIGIL_BROKER_PASSWORD"' in text
    assert run(text.replace("https://harbour.example", health[0]), "--once").stdout == "Harbour kitchen: works\n"


def test_the_installation_itself_takes_the_table_too_and_says_what_is_wrong_in_it() -> None:
    text = (DEPLOY / "curevigil.example.toml").read_text(encoding="utf-8")
    environ = {**ENVIRON, "CUREVIGIL_BROKER_PASSWORD": "x"}
    settings = parse(text, environ, lambda path: "")
    assert isinstance(settings, Settings), settings
    assert [(one.name, one.zone) for one in settings.mind] == [("Harbour kitchen", "Europe/London")]
    twice = text.replace("[[mind]]", '[[mind]]\naddress = "https://harbour.example"\nname = "H"\n[[mind]]')
    wrong = parse(twice, environ, lambda path: "")
    assert isinstance(wrong, tuple)
    assert [fault.key for fault in wrong] == ["mind 2 address"]


MIND = '[[mind]]\naddress = "https://a.example"\nname = "A"\n'
BAD = [
    ("nobody is reached", MIND, (), 1, "s.toml: reach: a watcher that can tell nobody is none; describe"),
    ("nobody is minded", REACH, (), 1, "nobody is to be minded: name an address, or describe [[mind]]"),
    ("no address", REACH, ("kitchen",), 2, "'kitchen' is no web address; write one such as"),
    ("a misspelt table", REACH.replace("[[reach]]", "[[reech]]"), (), 1, "there is no such key here; did you mean"),
    ("a misspelt key", REACH + MIND.replace("name", "nam"), (), 1, "mind 1 nam: there is no such key here"),
    ("a secret that nobody set", REACH.replace("HOOK", "NONE"), (), 1, "the environment has no NONE; set NONE for"),
    ("a name twice", REACH + MIND + MIND.replace("a.example", "b.example"), (), 1, "'A' stands there already"),
    ("an address twice", REACH + MIND + MIND.replace('"A"', '"B"'), (), 1, "stands there already; keep one of"),
    ("no time zone", REACH + MIND + 'zone = "Harbour"\n', (), 1, "'Harbour' is no IANA time zone; write one such"),
    ("an authority without https", REACH + MIND.replace("https", "http") + 'authority_file = "/a.pem"\n', (), 1,
     "mind 1 authority_file: it has a meaning only with https"),
    ("an authority that is not there", REACH + MIND + 'authority_file = "/no/such.pem"\n', (), 1,
     "A: /no/such.pem is no file; name the authority's certificate"),
    ("no TOML", "[[reach", (), 1, "s.toml line 1: file: this is no TOML from"),
    ("mail without a server", REACH.replace("webhook", "email"), (), 1, "what stands there is no e-mail address"),
    ("too patient", REACH + MIND, ("--patience-s", "600"), 1, "somebody must be told within 300 s, and by these"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("settings", "words", "code", "said"), [row[1:] for row in BAD], ids=[row[0] for row in BAD]
)  # fmt: skip
def test_what_it_cannot_mind_by_is_refused_with_words(
    run: Run, settings: str, words: tuple[str, ...], code: int, said: str
) -> None:
    found = run(settings, *words)
    assert found.exit_code == code, found.output
    assert said in found.output
    assert "Traceback" not in found.output


def test_settings_that_are_not_there_are_refused_with_words() -> None:
    found = CliRunner().invoke(main, ["mind", "https://a.example", "--config", "none.toml"])
    assert found.exit_code == 1
    assert "none.toml cannot be read" in found.output
