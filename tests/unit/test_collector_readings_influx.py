"""What InfluxDB's library and the one below it raise leaves as StoreFailed, and holds no token."""

import inspect
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import influxdb_client.client.exceptions
import influxdb_client.client.flux_csv_parser
import influxdb_client.rest
import pytest
import urllib3.exceptions
from urllib3.response import HTTPResponse

from collector.line_protocol import AccessRefused, LinesRefused
from collector.readings_influx import InfluxArchive, Place, translated
from collector.storage import StoreFailed

LIBRARY = Path(influxdb_client.__file__).parent
MODULES = [
    influxdb_client.client.exceptions,
    influxdb_client.client.flux_csv_parser,
    influxdb_client.rest,
    urllib3.exceptions,
]


def raised_by(module: Any) -> Iterator[type[Exception]]:
    for _, found in inspect.getmembers(module, inspect.isclass):
        if issubclass(found, Exception) and not issubclass(found, Warning) and found.__module__ == module.__name__:
            yield found


EXCEPTIONS = [found for module in MODULES for found in raised_by(module)]


def test_every_module_of_the_library_that_defines_an_exception_is_looked_at() -> None:
    defining = set()
    for path in LIBRARY.rglob("*.py"):
        for line in path.read_text(encoding="utf-8").splitlines():
            if line.startswith("class ") and ("Exception)" in line or "Error)" in line):
                defining.add(path.relative_to(LIBRARY).with_suffix("").as_posix().replace("/", "."))
    looked_at = {module.__name__.removeprefix("influxdb_client.") for module in MODULES}
    assert defining <= looked_at
    assert len(EXCEPTIONS) > 25


@pytest.mark.parametrize("kind", EXCEPTIONS, ids=lambda kind: kind.__name__)
def test_every_exception_of_the_library_leaves_as_store_failed(kind: type[Exception]) -> None:
    # Made without its own constructor, whose arguments differ from one to the next.
    fault = kind.__new__(kind)
    if isinstance(fault, influxdb_client.rest.ApiException):
        fault.status, fault.body, fault.reason = 503, "", "Service Unavailable"
    with pytest.raises(StoreFailed), translated("http://influx.example"):
        raise fault


@pytest.mark.parametrize(
    ("status", "kind", "said"),
    [
        (400, LinesRefused, "unable to parse 'x'"),
        (401, AccessRefused, "mend [influx] token"),
        (403, AccessRefused, "the right to read and write"),
        (404, AccessRefused, "curevigil check --prepare"),
        (413, LinesRefused, "answers 413"),
        (422, LinesRefused, "answers 422"),
        (429, StoreFailed, "answers 429"),
        (500, StoreFailed, "answers 500"),
        (503, StoreFailed, "answers 503"),
    ],
)
def test_an_answer_tells_whether_to_halve_to_mend_or_to_wait(status: int, kind: type[StoreFailed], said: str) -> None:
    answer = HTTPResponse(body=b'{"message": "unable to parse \'x\'"}', status=status, reason="no")
    with pytest.raises(StoreFailed) as caught, translated("http://influx.example"):
        raise influxdb_client.rest.ApiException(http_resp=answer)  # type: ignore[no-untyped-call]
    assert type(caught.value) is kind
    assert said in str(caught.value)


def test_a_fault_of_our_own_stays_what_it_is() -> None:
    with pytest.raises(KeyError), translated("http://influx.example"):
        raise KeyError("ours")


def test_nobody_listening_is_said_without_the_token() -> None:
    archive = InfluxArchive(Place("http://127.0.0.1:9", "a/b", "hunter2"))
    with pytest.raises(StoreFailed, match="does not answer") as caught:
        archive.channels()
    assert "hunter2" not in str(caught.value) + repr(archive.place)
    archive.close()
    archive.close()
