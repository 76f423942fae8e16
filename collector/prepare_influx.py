"""Makes what InfluxDB needs before it is fed: bucket, retention, and a thinned copy for the long view.

Tried in the tests with 1.8.10 (database, retention policies, continuous query), and with 2.7.12 where one is at hand
(buckets, mapping, task).
"""

from typing import Any

from collector.line_protocol import MEASUREMENT, AccessRefused
from collector.readings_influx import InfluxArchive
from collector.storage import StoreFailed

LONG = "long"
"""Where the thinned copy stands: the retention policy, or the second half of the bucket's name; kept for ever."""
SUMMARY = "reading_30m"
FIGURES = ("mean", "min", "max", "count")
EVERY, REACH = "30m", "7d"
"""The copy is made anew every half hour for the past week, so that what arrived late is in it. House choice."""


def version(archive: InfluxArchive) -> str:
    """Return the version of the server as far as it tells: 1 or 2 at least. Raises StoreFailed."""
    answer = archive.call("GET", "/health", ())
    told = str(answer.get("version", "")).removeprefix("v") if isinstance(answer, dict) else ""
    if told[:1].isdigit():
        return told
    # A 1.8 that was built from its module calls itself unknown, and has no such page.
    try:
        archive.call("GET", "/api/v2/setup", ())
    except AccessRefused:
        return "1.x"
    return "2.x"


def prepare(archive: InfluxArchive, keep_days: int) -> list[str]:
    """Make what is missing, and return a sentence for each thing that is there now. Raises StoreFailed."""
    found = version(archive)
    if not found.startswith("1."):
        return _prepare_2(archive, keep_days, found)
    place = archive.place
    span = f"{keep_days}d" if keep_days else "INF"
    archive.ask(f'CREATE DATABASE "{place.database}"', "POST")
    for name, kept, rest in ((place.retention, span, " DEFAULT"), (LONG, "INF", "")):
        _policy(archive, f'"{name}" ON "{place.database}" DURATION {kept} REPLICATION 1{rest}')
    archive.ask(f'DROP CONTINUOUS QUERY "{SUMMARY}" ON "{place.database}"', "POST")
    archive.ask(
        f'CREATE CONTINUOUS QUERY "{SUMMARY}" ON "{place.database}" RESAMPLE EVERY {EVERY} FOR {REACH} BEGIN '
        f"{_summary(archive, '')} END",
        "POST",
    )
    summarise(archive)
    return [
        f"InfluxDB {found} at {place.url}",
        f"database {place.database}, retention policy {place.retention} ({_kept(keep_days)})",
        f"a thinned copy in {place.database}/{LONG}: {', '.join(FIGURES)} of each half hour",
    ]


def forget(archive: InfluxArchive) -> None:
    """Remove everything in the archive's place. Raises StoreFailed."""
    place = archive.place
    if version(archive).startswith("1."):
        archive.ask(f'DROP DATABASE "{place.database}"', "POST")
        return
    for bucket in _listed(archive, "/api/v2/buckets", "buckets", org=place.org, name=place.bucket):
        archive.call("DELETE", f"/api/v2/buckets/{bucket['id']}", ())


def summarise(archive: InfluxArchive, from_ms: int | None = None) -> None:
    """Fill the thinned copy (1.8) from an instant on, or from the first reading. Raises StoreFailed."""
    where = f" WHERE time >= {from_ms}ms" if from_ms is not None else ""
    archive.ask(_summary(archive, where), "POST")


def _kept(keep_days: int) -> str:
    return f"kept for {keep_days} days" if keep_days else "kept for ever"


def _policy(archive: InfluxArchive, described: str) -> None:
    try:
        archive.ask(f"CREATE RETENTION POLICY {described}", "POST")
    except StoreFailed as fault:
        if "already exists" not in str(fault):
            raise
        archive.ask(f"ALTER RETENTION POLICY {described}", "POST")


def _summary(archive: InfluxArchive, where: str) -> str:
    place = archive.place
    figures = ", ".join(f'{name}(value) AS "{name}"' for name in FIGURES)
    return (
        f'SELECT {figures} INTO "{place.database}"."{LONG}"."{SUMMARY}" '
        f'FROM "{place.database}"."{place.retention}"."{MEASUREMENT}"{where} GROUP BY time({EVERY}), channel'
    )


def _prepare_2(archive: InfluxArchive, keep_days: int, found: str) -> list[str]:
    place = archive.place
    orgs = _listed(archive, "/api/v2/orgs", "orgs", org=place.org)
    if not orgs:
        raise StoreFailed(f"{place.url} knows no organisation {place.org!r}; mend [influx] org")
    org = orgs[0]["id"]
    long = f"{place.database}/{LONG}"
    number = _bucket(archive, org, place.bucket, keep_days)
    _bucket(archive, org, long, 0)
    known = _listed(archive, "/api/v2/dbrps", "content", orgID=org, db=place.database)
    if not any(m.get("retention_policy") == place.retention and not m.get("virtual") for m in known):
        mapped = {
            "orgID": org,
            "bucketID": number,
            "database": place.database,
            "retention_policy": place.retention,
            "default": True,
        }
        archive.call("POST", "/api/v2/dbrps", (), mapped)
    task = f"{SUMMARY} {place.bucket}"
    if not archive.call("GET", "/api/v2/tasks", [("orgID", org), ("name", task)]).get("tasks"):
        archive.call("POST", "/api/v2/tasks", (), {"orgID": org, "flux": _flux(task, place.bucket, long)})
    return [
        f"InfluxDB {found} at {place.url}",
        f"bucket {place.bucket} ({_kept(keep_days)}), readable as database {place.database}",
        f"a task {task} that thins it out into {long}",
    ]


def _listed(archive: InfluxArchive, path: str, key: str, **query: str) -> list[dict[str, Any]]:
    try:
        return list(archive.call("GET", path, list(query.items())).get(key) or ())
    except AccessRefused as fault:
        # Asked for by its name, what is not there is no empty list but "not found" (seen with 2.7.12).
        if "not found" not in str(fault):
            raise
        return []


def _bucket(archive: InfluxArchive, org: str, name: str, keep_days: int) -> str:
    there = _listed(archive, "/api/v2/buckets", "buckets", orgID=org, name=name)
    rules = [{"type": "expire", "everySeconds": keep_days * 86_400}] if keep_days else []
    if there:
        archive.call("PATCH", f"/api/v2/buckets/{there[0]['id']}", (), {"retentionRules": rules})
        return str(there[0]["id"])
    made = archive.call("POST", "/api/v2/buckets", (), {"orgID": org, "name": name, "retentionRules": rules})
    return str(made["id"])


def _flux(task: str, bucket: str, long: str) -> str:
    # Several kitchens may share an organisation, so the task is named after the bucket that it thins out.
    tables = [
        f"readings |> aggregateWindow(every: {EVERY}, fn: {name}, createEmpty: false) |> toFloat()"
        # The smallest and the largest are rows as they stood, with tags that a mean has not: a series each, unless cut.
        ' |> keep(columns: ["_time", "_value", "channel"])'
        f' |> set(key: "_field", value: "{name}")'
        for name in FIGURES
    ]
    return (
        f'option task = {{name: "{task}", every: {EVERY}}}\n'
        f'readings = from(bucket: "{bucket}") |> range(start: -{REACH})'
        f' |> filter(fn: (r) => r._measurement == "{MEASUREMENT}" and r._field == "value")'
        ' |> group(columns: ["channel", "_measurement", "_field"])\n'
        f"union(tables: [{', '.join(tables)}])"
        f' |> set(key: "_measurement", value: "{SUMMARY}") |> to(bucket: "{long}")\n'
    )
