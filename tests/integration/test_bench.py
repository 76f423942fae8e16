"""The bench as a person runs it, on a fiftieth of the work: every figure in it is measured here and now."""

import re
from typing import TYPE_CHECKING

from click.testing import CliRunner

from simulators.bench import bench

if TYPE_CHECKING:
    from simulators.influx_server import InfluxServer


def test_the_bench_measures_archive_and_tick() -> None:
    told = CliRunner().invoke(bench, ["--only", "archive,tick", "--scale", "0.02"])
    assert told.exit_code == 0, told.output
    each = re.search(r"^archive, a reading +([\d.]+) bytes", told.output, re.MULTILINE)
    assert each is not None
    # Series, instant, value, receipt, device time and quality cannot stand in less than some bytes, nor need a page.
    assert 8.0 < float(each[1]) < 64.0
    assert re.search(r"^tick, eight judged +[\d.]+ ms", told.output, re.MULTILINE)
    assert re.fullmatch(r"bench: 4 rows, \d of 4 budgets kept.*, 0 not measured, \d+ s", told.output.splitlines()[-1])


def test_the_bench_counts_back_what_it_copied_to_influxdb(influx: "InfluxServer") -> None:
    told = CliRunner().invoke(bench, ["--only", "influx", "--scale", "0.05"])
    assert told.exit_code == 0, told.output
    assert re.search(r"^copy to InfluxDB +[\d,]+ /s .* [\d,]+ /s", told.output, re.MULTILINE)
    assert "3,000 readings" in told.output


def test_the_bench_follows_a_reading_from_a_real_broker_through_the_real_program_to_the_webhook(
    mosquitto: object,
) -> None:
    told = CliRunner().invoke(bench, ["--only", "webhook", "--scale", "0.05"])
    assert told.exit_code == 0, told.output
    row = re.search(
        r"^publish to webhook, p99 +([\d,.]+) ms \(p50 ([\d,.]+)\) +([\d,.]+) ms", told.output, re.MULTILINE
    )
    assert row is not None, told.output
    # Nobody is told before the message has been received by anybody at all.
    assert float(row[2].replace(",", "")) > float(row[3].replace(",", "")) > 0.0
    assert "5 alarms that wake somebody" in told.output
