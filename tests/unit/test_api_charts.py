"""Charts keep what matters of a line, break it where nothing was heard, and read like the clock on the wall."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from api.chart_bundle import bundle_path, content, ensure
from api.charts import Band, Line, Mark, Picture, Stretch, above, breaks, local_ms, spark, temperature_chart, thinned


def minutes(n: int) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.arange(n, dtype=np.float64) * 60.0


def test_thinning_keeps_the_ends_and_the_one_warm_minute_in_a_month() -> None:
    values = np.full(43_200, 3.0)
    values[31_017] = 9.4
    values[12_001] = -2.0
    kept = thinned(minutes(43_200), values).tolist()
    assert len(kept) <= 902
    assert {0, 12_001, 31_017, 43_199} <= set(kept)


def test_a_short_line_is_left_whole() -> None:
    assert thinned(minutes(5), np.arange(5.0)).tolist() == [0, 1, 2, 3, 4]


def test_a_line_breaks_after_a_silence_and_not_at_a_slow_sensor() -> None:
    times = np.array([0.0, 60.0, 120.0, 4000.0, 4060.0])
    assert breaks(times).tolist() == [False, False, False, True, False]
    assert not breaks(minutes(5) * 60.0).any()


def test_a_broken_line_has_no_value_in_its_silence() -> None:
    line = Line("air", np.array([0.0, 60.0, 120.0, 4000.0]), np.array([3.0, 3.1, 3.2, 6.0]))
    spec = temperature_chart(Picture("UTC", 5.0, (line,)))
    rows = next(layer for layer in spec["layer"] if layer["mark"]["type"] == "line")["data"]["values"]
    assert [row["c"] for row in rows] == [3.0, 3.1, 3.2, None, 6.0]


@pytest.mark.parametrize(("zone", "hour"), [("America/New_York", 2), ("Europe/London", 7), ("Asia/Kolkata", 12)])
def test_times_are_those_of_the_walls(zone: str, hour: int) -> None:
    shown = datetime.fromtimestamp(local_ms(1_795_590_600.0, zone) / 1000.0, UTC)
    assert shown.hour == hour


def test_a_stretch_above_the_limit_reaches_from_the_first_point_above_to_the_first_one_back() -> None:
    values = np.array([3.0, 5.0, 5.1, 6.0, 5.0, 3.0, 7.0])
    assert above(minutes(7), values, 5.0) == ((120.0, 240.0), (360.0, 360.0))
    assert above(minutes(2), np.array([1.0, 2.0]), 5.0) == ()


def test_a_chart_shows_the_limit_each_stretch_each_band_and_each_mark() -> None:
    line = Line("meat", minutes(10), np.linspace(3.0, 8.0, 10), strong=True)
    band = Band(minutes(10), np.full(10, 1.0), np.full(10, 9.0))
    stretches = (Stretch(60.0, 120.0, "unknown", "silence"), Stretch(300.0, 540.0, "above the limit", "long"))
    spec = temperature_chart(Picture("UTC", 5.0, (line,), (band,), stretches, (Mark(90.0, 3.4, "brine"),)))
    drawn = [layer["mark"]["type"] for layer in spec["layer"]]
    assert sorted(drawn) == ["area", "line", "point", "rect", "rect", "rule", "text", "text"]
    assert "5.0 °C" in next(layer["mark"]["text"] for layer in spec["layer"] if layer["mark"]["type"] == "text")


def test_a_small_line_puts_warm_above_the_limit_and_says_its_figures() -> None:
    line = spark(minutes(3), np.array([-1.0, 3.0, 7.0]), 5.0, (0.0, 120.0))
    assert line is not None
    heights = [float(point.split()[1]) for point in line.path.replace("M", "L").split("L")[1:]]
    assert heights[2] < line.limit_y < heights[1] < heights[0]
    assert line.words == "air from −1.0 to 7.0 °C, last 7.0 °C"


def test_without_readings_there_is_no_line() -> None:
    assert spark(np.array([]), np.array([]), 5.0, (0.0, 1.0)) is None


def test_the_script_is_made_once_and_found_again(tmp_path: Path) -> None:
    bundle_path(tmp_path).write_bytes(b"made before")
    assert content(tmp_path) == b"made before"


def test_pages_do_without_the_script_where_it_cannot_be_kept(tmp_path: Path) -> None:
    (tmp_path / "taken").write_bytes(b"a file, where a folder should be")
    assert ensure(tmp_path / "taken") is None
