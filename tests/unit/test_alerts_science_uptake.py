"""Salt from endless and limited baths, through several faces and to a depth, against finite volumes."""

import math

import numpy as np
import pytest
from scipy.linalg import expm
from scipy.optimize import brentq
from scipy.special import erfc

from alerts.science.conduction import Shape
from alerts.science.cure_days import (
    PRACTICES,
    TARGET_WPS,
    Aim,
    Practice,
    cure_rate_diffusion,
    days_by_diffusion,
    practice_days,
    reach_of_salt,
)
from alerts.science.record import FloatArray
from alerts.science.salt import cure_clock, penetration, penetration_band
from alerts.science.uptake import (
    ENDLESS,
    combined_penetration,
    diffused_m2,
    front_depth,
    limited_penetration,
    share_at_depth,
)

SHAPES: tuple[Shape, ...] = ("slab", "cylinder", "sphere")
DAY = 86400.0


def shells(shape: Shape, fo: float, ratio: float, cells: int = 120) -> FloatArray:
    """Return the salt in each shell, centre first, and last that in the stirred bath, which began at 1."""
    power = {"slab": 0, "cylinder": 1, "sphere": 2}[shape]
    faces = np.linspace(0.0, 1.0, cells + 1)
    volumes = np.append(np.diff(faces ** (power + 1)) / (power + 1), ratio / (power + 1))
    flow = np.append(faces[1:-1] ** power * cells, 2.0 * cells)
    matrix = np.diag(flow, 1) + np.diag(flow, -1)
    matrix -= np.diag(np.append(flow, 0.0) + np.append(0.0, flow))
    start = np.append(np.zeros(cells), 1.0)
    return np.asarray(expm(matrix / volumes[:, np.newaxis] * fo) @ start)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("ratio", [0.25, 1.0, 1.29, 5.0])
@pytest.mark.parametrize("fo", [0.005, 0.05, 0.3])
def test_a_limited_bath_agrees_with_finite_volumes(shape: Shape, ratio: float, fo: float) -> None:
    found = limited_penetration(fo, shape, ratio)
    cells = shells(shape, fo, ratio)
    end = ratio / (1 + ratio)
    # Salt is kept: what the bath has lost is what the body holds.
    assert found.mean == pytest.approx((1 - cells[-1]) * ratio / end, abs=3e-3)
    assert found.centre == pytest.approx(cells[0] / end, abs=2e-3)


@pytest.mark.parametrize("shape", SHAPES)
def test_a_large_bath_is_an_endless_one(shape: Shape) -> None:
    for fo in (0.01, 0.1, 0.5):
        endless = penetration(fo, shape)
        assert limited_penetration(fo, shape, 0.99 * ENDLESS) == pytest.approx(endless, abs=1e-5)
        assert limited_penetration(fo, shape, 10 * ENDLESS) == endless


@pytest.mark.parametrize("shape", SHAPES)
def test_a_limited_bath_ends_sooner_and_with_less_salt(shape: Shape) -> None:
    for fo in (0.01, 0.1, 0.4):
        shares = [limited_penetration(fo, shape, ratio).mean for ratio in (0.3, 1.0, 3.0, math.inf)]
        salts = [share * end for share, end in zip(shares, (0.3 / 1.3, 0.5, 0.75, 1.0), strict=True)]
        assert shares == sorted(shares, reverse=True)
        assert salts == sorted(salts)


@pytest.mark.parametrize("shape", SHAPES)
def test_salt_comes_in_from_nothing_without_a_jump(shape: Shape) -> None:
    means = [limited_penetration(fo, shape, 1.0).mean for fo in (0.0, 1e-4, 1e-3, 0.002, 0.0020001, 0.01)]
    assert means[0] == 0.0
    assert means == sorted(means)
    assert means[4] == pytest.approx(means[3], abs=1e-4)
    # The root of time is low by no more than this.
    assert means[2] == pytest.approx((1 - shells(shape, 1e-3, 1.0)[-1]) * 2, abs=0.02)


def test_a_brick_agrees_with_finite_volumes_in_two_dimensions() -> None:
    cells, fos = 40, (0.12, 0.05)

    def rates(fo: float) -> FloatArray:
        flow = np.full(cells - 1, float(cells * cells))
        matrix = np.diag(flow, 1) + np.diag(flow, -1)
        matrix -= np.diag(np.append(flow, 2.0 * cells * cells) + np.append(0.0, flow))
        return np.asarray(matrix * fo)

    both = np.kron(rates(fos[0]), np.eye(cells)) + np.kron(np.eye(cells), rates(fos[1]))
    missing = expm(both) @ np.ones(cells * cells)
    found = combined_penetration([("slab", fos[0]), ("slab", fos[1])])
    assert found.mean == pytest.approx(1 - missing.mean(), abs=2e-3)
    assert found.centre == pytest.approx(1 - missing[0], abs=2e-3)


def test_more_faces_never_take_up_less() -> None:
    for fo in (0.001, 0.05, 0.3):
        one, two = combined_penetration([("slab", fo)]), combined_penetration([("slab", fo), ("slab", 0.2 * fo)])
        assert one == pytest.approx(penetration(fo, "slab"), abs=1e-14)
        assert two.mean > one.mean
        assert two.centre >= one.centre


@pytest.mark.parametrize("fo", [0.004, 0.00999, 0.01001, 0.08, 0.4])
@pytest.mark.parametrize("depth", [0.05, 0.3, 0.7])
def test_the_salt_at_a_depth_agrees_with_finite_volumes(fo: float, depth: float) -> None:
    cells = shells("slab", fo, 1e9)
    middles = 1 - (np.arange(120) + 0.5) / 120
    assert share_at_depth(fo, depth) == pytest.approx(float(np.interp(-depth, -middles, cells[:-1])), abs=1e-3)
    if fo < 0.01:
        assert share_at_depth(fo, depth) == pytest.approx(float(erfc(depth / (2 * math.sqrt(fo)))))


def test_the_front_is_where_the_salt_is() -> None:
    for fo in (0.003, 0.05, 0.2):
        depth = front_depth(fo, 1.0, 0.2)
        exact = 1.0 if share_at_depth(fo, 1.0) >= 0.2 else brentq(lambda d, fo=fo: share_at_depth(fo, d) - 0.2, 0, 1)
        assert depth == pytest.approx(exact, abs=1e-9)
    assert front_depth(0.0, 0.03, 0.2) == 0.0
    assert front_depth(5.0, 0.03, 0.2) == 0.03


def test_the_band_of_the_record_is_that_of_the_older_measure() -> None:
    times, temps = [0.0, DAY, 4 * DAY, 5 * DAY], [6.0, 1.0, -3.0, 9.0]
    low, likely, high = diffused_m2(times, temps)
    assert low < likely < high
    older = penetration_band(times, temps, 0.0275, "slab")
    assert penetration(low / 0.0275**2, "slab") == pytest.approx(older[0])
    assert penetration(high / 0.0275**2, "slab") == pytest.approx(older[1])


def test_the_diffusion_clock_stops_in_ice_gives_no_credit_and_loses_the_worked_hours() -> None:
    assert cure_rate_diffusion([-5.0, -1.5, 4.0, 20.0]).tolist() == [0.0, 0.0, 1.0, 1.0]
    assert float(cure_rate_diffusion(9.0, credit_warmth=True)) > 1.1
    # Worked: 24 h at 0.5 °C instead of 4 °C lose 3.1 h.
    counted = cure_clock([0.0, DAY], [0.5, 0.5], cure_rate_diffusion, breaks_c=(-1.5, 4.0))
    assert (DAY - counted) / 3600 == pytest.approx(3.1, abs=0.05)


@pytest.mark.parametrize("aim", ["centre", "mean"])
@pytest.mark.parametrize("shape", SHAPES)
def test_days_by_diffusion_bring_the_salt_that_was_asked_for(aim: str, shape: Shape) -> None:
    wanted: Aim = "centre" if aim == "centre" else "mean"
    quick, likely, slow = days_by_diffusion(0.3, 0.03, shape, 3.0, wanted)
    assert quick < likely < slow
    for days, which in ((slow, 0), (likely, 1), (quick, 2)):
        fo = diffused_m2([0.0, days * DAY], [3.0, 3.0])[which] / 0.03**2
        found = penetration(fo, shape)
        assert (found.centre if aim == "centre" else found.mean) == pytest.approx(0.3, abs=1e-9)


def test_a_brine_too_weak_and_frozen_meat_never_get_there() -> None:
    assert np.isinf(days_by_diffusion(1.0, 0.03, "slab", 4.0, "centre")).all()
    assert np.isinf(days_by_diffusion(0.5, 0.03, "slab", -5.0, "centre")).all()
    found = reach_of_salt(0.055, 5.0, 4.0, 1.5, PRACTICES["dry cure, bellies"], mass_kg=3.0)
    assert found.front_m == (0.0, 0.0, 0.0)
    assert math.isinf(found.times_longer)


def test_diffusion_asks_for_less_than_the_dry_rule_when_thin_and_for_more_when_thick() -> None:
    rule = PRACTICES["dry cure, bellies"]
    apart = [reach_of_salt(t, 5.0, 4.0, 9.5, rule, mass_kg=3.0).times_longer for t in (0.03, 0.055, 0.1, 0.16)]
    assert apart == sorted(apart)
    assert apart[0] < 1 < apart[-1]


def test_a_rule_by_weight_has_no_depth_and_one_by_thickness_ends_at_the_centre() -> None:
    by_weight = reach_of_salt(0.1, 20.0, 4.0, 9.5, PRACTICES["brine cure, hams and shoulders"], mass_kg=6.8)
    assert by_weight.practice_front_m is None
    assert by_weight.practice_days == pytest.approx((52.47, 59.97), abs=0.01)
    long_enough = reach_of_salt(0.03, 20.0, 4.0, 9.5, PRACTICES["dry cure, bellies"], mass_kg=3.0)
    assert long_enough.practice_front_m == (0.015, 0.015)
    assert TARGET_WPS == 2.0


def test_every_rule_of_practice_says_who_says_so() -> None:
    for rule in PRACTICES.values():
        assert rule.source
        assert rule.known in {"looked up", "second-hand", "from memory"}
        assert 0 < rule.days_from <= rule.days_to


@pytest.mark.parametrize(("fo", "shape", "ratio"), [(-0.1, "slab", 1.0), (0.1, "slab", 0.0), (0.1, "cube", 1.0)])
def test_a_bath_or_body_that_is_none_is_refused(fo: float, shape: str, ratio: float) -> None:
    with pytest.raises(ValueError, match="negative|no salt|unknown shape"):
        limited_penetration(fo, shape, ratio)  # type: ignore[arg-type]


def test_figures_out_of_range_are_refused() -> None:
    rule = Practice(7.0, 7.0, "inch", "house", "from memory")
    with pytest.raises(ValueError, match="at least one direction"):
        combined_penetration([])
    with pytest.raises(ValueError, match="is negative"):
        share_at_depth(-1.0, 0.5)
    with pytest.raises(ValueError, match="outside 0"):
        share_at_depth(0.1, 1.5)
    with pytest.raises(ValueError, match="between 0 and 1"):
        front_depth(0.1, 0.03, 1.0)
    with pytest.raises(ValueError, match="above zero"):
        practice_days(rule, thickness_m=0.0, mass_kg=1.0)
    with pytest.raises(ValueError, match="above zero"):
        days_by_diffusion(0.0, 0.03, "slab", 4.0, "centre")
    with pytest.raises(ValueError, match="unknown aim"):
        days_by_diffusion(0.3, 0.03, "slab", 4.0, "edge")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="not negative"):
        reach_of_salt(0.05, -1.0, 4.0, 9.5, rule, mass_kg=3.0)
