"""Heat on its way into simple bodies, against solutions that know nothing of its series."""

import math

import numpy as np
import pytest
from scipy.linalg import expm
from scipy.optimize import brentq
from scipy.special import j0, j1, jn_zeros

from alerts.science.bessel import MOST_ZEROS, bessel_j, bessel_zeros, crossings
from alerts.science.components import LEAN, Composition, component_properties, thermal_properties
from alerts.science.conduction import (
    LEAST_FO,
    Direction,
    Shape,
    centre_temperature,
    conduction_series,
    core_time_constant,
    first_root_lumped,
    lumped_time_constant,
    step_left,
)
from alerts.science.record import FloatArray

SHAPES: tuple[Shape, ...] = ("slab", "cylinder", "sphere")
BIOTS = (1e-9, 1e-5, 0.01, 0.3, 1.0, 4.0, 60.0, 1e9, math.inf)
K, ALPHA = 0.485, 1.303e-7


def rates(shape: Shape, biot: float, cells: int) -> FloatArray:
    """Return the matrix of a body cut into shells, for excess over the surroundings; time counts in Fourier numbers."""
    power = {"slab": 0, "cylinder": 1, "sphere": 2}[shape]
    faces = np.linspace(0.0, 1.0, cells + 1)
    volumes = np.diff(faces ** (power + 1)) / (power + 1)
    flow = faces[1:-1] ** power * cells
    half_cell = 0.5 / cells
    outward = 1.0 / (half_cell if math.isinf(biot) else half_cell + 1.0 / biot)
    matrix = np.diag(flow, 1) + np.diag(flow, -1)
    matrix -= np.diag(np.concatenate((flow, [outward])) + np.concatenate(([0.0], flow)))
    return np.asarray(matrix / volumes[:, np.newaxis])


def shells(shape: Shape, biot: float, fo: float, cells: int = 160) -> FloatArray:
    """Return what is left of a step in each shell, centre first."""
    return np.asarray(expm(rates(shape, biot, cells) * fo) @ np.ones(cells))


def test_bessel_functions_and_their_zeros_are_those_of_scipy() -> None:
    x = np.linspace(0.0, 200.0, 2001)
    for order, function in ((0, j0), (1, j1)):
        assert np.allclose(bessel_j(order, x), function(x), rtol=0, atol=2e-13)
        assert np.allclose(bessel_zeros(order), jn_zeros(order, MOST_ZEROS), rtol=0, atol=1e-11)


def test_what_cannot_be_computed_is_refused_by_the_bessel_functions() -> None:
    with pytest.raises(ValueError, match="neither 0 nor 1"):
        bessel_j(2, 1.0)
    with pytest.raises(ValueError, match="outside 0 to 200"):
        bessel_j(0, [1.0, 201.0])
    with pytest.raises(ValueError, match="outside 0 to 200"):
        bessel_j(0, math.nan)


def test_a_crossing_is_found_where_brentq_finds_it() -> None:
    def cubic(x: FloatArray) -> FloatArray:
        return np.asarray(x**3 - 2 * x - 5)

    assert float(crossings(cubic, 2.0, 3.0)) == pytest.approx(brentq(cubic, 2.0, 3.0, xtol=1e-14), abs=1e-13)
    assert float(crossings(lambda x: x, 0.0, 1.0)) == pytest.approx(0.0, abs=1e-15)


@pytest.mark.parametrize(("low", "high"), [(3.0, 2.0), (3.0, 4.0), (math.nan, 3.0), (2.0, math.inf)])
def test_a_bracket_that_holds_no_crossing_is_refused(low: float, high: float) -> None:
    with pytest.raises(ValueError, match="bracket"):
        crossings(lambda x: x**3 - 2 * x - 5, low, high)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("biot", BIOTS)
def test_every_root_solves_its_condition_and_none_is_left_out(shape: Shape, biot: float) -> None:
    z = conduction_series(shape, biot).roots
    inside, across = 1 / (1 + biot), 1.0 if math.isinf(biot) else biot / (1 + biot)
    left = {
        "slab": inside * z * np.sin(z) - across * np.cos(z),
        "cylinder": inside * z * j1(z) - across * j0(z),
        "sphere": inside * (np.sin(z) - z * np.cos(z)) - across * np.sin(z),
    }[shape]
    assert z.size == MOST_ZEROS
    assert np.abs(left).max() < 1e-10
    # Each root is the only one of its interval, so none is skipped: they lie about pi apart.
    assert (np.diff(z) > 0.75 * math.pi).all()
    assert (np.diff(z) < 1.5 * math.pi).all()
    assert 0 < z[0] <= math.pi


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("biot", [0.05, 0.45, 1.0, 8.0, math.inf])
@pytest.mark.parametrize("fo", [0.05, 0.3, 1.2])
def test_centre_and_surface_agree_with_finite_volumes(shape: Shape, biot: float, fo: float) -> None:
    cells = shells(shape, biot, fo)
    assert step_left(shape, biot, fo) == pytest.approx(cells[0], abs=5e-4)
    outermost = 1 - 0.5 / cells.size
    assert step_left(shape, biot, fo, outermost) == pytest.approx(cells[-1], abs=5e-4)


def test_a_bar_agrees_with_finite_volumes_in_two_dimensions() -> None:
    # Half of a bar of 55 by 80 mm, cut into 40 by 40: the two directions are not multiplied but solved together.
    halves, h, time_s, count = (0.0275, 0.040), 12.0, 2.5 * 3600, 40
    one, two = (ALPHA / half**2 * rates("slab", h * half / K, count) for half in halves)
    both = np.kron(one, np.eye(count)) + np.kron(np.eye(count), two)
    left = float((expm(both * time_s) @ np.ones(count * count))[0])
    bar = [Direction("slab", half, h) for half in halves]
    found = centre_temperature(bar, time_s, start_c=1.0, air_c=0.0, conductivity_w_mk=K, diffusivity_m2_s=ALPHA)
    assert found == pytest.approx(left, abs=2e-3)


def test_a_finite_cylinder_agrees_with_finite_volumes_in_two_dimensions() -> None:
    radius, half, h, time_s, count = 0.04, 0.06, 15.0, 3 * 3600.0, 40
    one = ALPHA / radius**2 * rates("cylinder", h * radius / K, count)
    two = ALPHA / half**2 * rates("slab", h * half / K, count)
    both = np.kron(one, np.eye(count)) + np.kron(np.eye(count), two)
    left = float((expm(both * time_s) @ np.ones(count * count))[0])
    can = [Direction("cylinder", radius, h), Direction("slab", half, h)]
    found = centre_temperature(can, time_s, start_c=1.0, air_c=0.0, conductivity_w_mk=K, diffusivity_m2_s=ALPHA)
    assert found == pytest.approx(left, abs=2e-3)


@pytest.mark.parametrize("shape", SHAPES)
def test_late_in_a_step_the_core_follows_with_its_time_constant_and_lag(shape: Shape) -> None:
    half, h = 0.03, 9.0
    tau_s, lag_s = core_time_constant([Direction(shape, half, h)], conductivity_w_mk=K, diffusivity_m2_s=ALPHA)
    late = 1.5 * half**2 / ALPHA
    left = step_left(shape, h * half / K, ALPHA * late / half**2)
    assert left == pytest.approx(math.exp(-(late - lag_s) / tau_s), rel=2e-3)


@pytest.mark.parametrize("shape", SHAPES)
def test_the_root_that_is_not_looked_for_is_near_the_one_that_is(shape: Shape) -> None:
    for biot in (1e-8, 1e-5, 0.1, 0.5, 1.0):
        assert first_root_lumped(shape, biot) == pytest.approx(conduction_series(shape, biot, 1).roots[0], rel=0.008)
    assert first_root_lumped(shape, 1e-5) == pytest.approx(conduction_series(shape, 1e-5, 1).roots[0], rel=1e-8)


def test_a_thin_slab_lags_like_something_lumped() -> None:
    beef = thermal_properties(LEAN, 4.0)
    slab = [Direction("slab", 0.002, 5.0)]
    tau_s, _ = core_time_constant(
        slab, conductivity_w_mk=beef.conductivity_w_mk, diffusivity_m2_s=beef.diffusivity_m2_s
    )
    one_square_metre = [(beef.density_kg_m3 * 0.004, beef.heat_j_kg_k)]
    assert tau_s == pytest.approx(lumped_time_constant(one_square_metre, 5.0, 2.0), rel=0.01)


def test_nothing_has_moved_at_the_start_and_all_at_the_end() -> None:
    for shape in SHAPES:
        assert step_left(shape, 2.0, 0.0, 1.0) == 1.0
        assert step_left(shape, 2.0, 1e-3) == 1.0
        # Where the short cut begins, the series itself has not moved either.
        assert step_left(shape, math.inf, LEAST_FO) == pytest.approx(1.0, abs=1e-10)
        assert step_left(shape, 2.0, 1e4) == 0.0


def test_a_body_that_is_no_body_is_refused() -> None:
    with pytest.raises(ValueError, match="not above zero"):
        conduction_series("slab", 0.0)
    with pytest.raises(ValueError, match="not above zero"):
        conduction_series("slab", math.nan)
    with pytest.raises(ValueError, match="1 to 60"):
        conduction_series("slab", 1.0, 61)
    with pytest.raises(ValueError, match="unknown shape"):
        conduction_series("cube", 1.0)
    with pytest.raises(ValueError, match="unknown shape"):
        first_root_lumped("cube", 1.0)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="outside 0 to 1"):
        first_root_lumped("slab", 1.1)


def test_a_place_or_time_that_the_series_does_not_hold_for_is_refused() -> None:
    with pytest.raises(ValueError, match="is negative"):
        step_left("slab", 1.0, -0.1)
    with pytest.raises(ValueError, match="outside 0"):
        step_left("slab", 1.0, 0.5, 1.1)
    with pytest.raises(ValueError, match="does not hold"):
        step_left("slab", 1.0, 0.001, 1.0)
    with pytest.raises(ValueError, match="is negative"):
        centre_temperature(
            [Direction("slab", 0.1, 8.0)], -1.0, start_c=3, air_c=9, conductivity_w_mk=K, diffusivity_m2_s=ALPHA
        )


@pytest.mark.parametrize(
    ("pieces", "k", "alpha"),
    [
        ([], K, ALPHA),
        ([Direction("slab", 0.0, 8.0)], K, ALPHA),
        ([Direction("slab", 0.1, math.nan)], K, ALPHA),
        ([Direction("slab", 0.1, 8.0)], 0.0, ALPHA),
        ([Direction("slab", 0.1, 8.0)], K, math.nan),
    ],
)
def test_a_piece_without_measure_or_property_is_refused(pieces: list[Direction], k: float, alpha: float) -> None:
    with pytest.raises(ValueError, match="above zero"):
        core_time_constant(pieces, conductivity_w_mk=k, diffusivity_m2_s=alpha)


@pytest.mark.parametrize("heats", [[], [(0.0, 3500.0)], [(1.0, -3500.0)]])
def test_a_tub_of_nothing_has_no_time_constant(heats: list[tuple[float, float]]) -> None:
    with pytest.raises(ValueError, match="above zero"):
        lumped_time_constant(heats, 8.0, 0.2)


def test_the_conductivity_of_a_mixture_lies_between_its_bounds_and_its_components() -> None:
    beef = thermal_properties(LEAN, 4.0)
    conductivities = [component_properties(name, 4.0)[0] for name in ("water", "protein", "fat", "ash")]
    assert min(conductivities) < beef.conductivity_low_w_mk < beef.conductivity_w_mk < max(conductivities)


def test_a_composition_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="sum to 1"):
        thermal_properties(Composition(0.72, 0.2, 0.0, 0.0, 0.0), 4.0)
    with pytest.raises(ValueError, match="sum to 1"):
        thermal_properties(Composition(1.1, -0.1, 0.0, 0.0, 0.0), 4.0)
    with pytest.raises(ValueError, match="holds ice"):
        thermal_properties(LEAN, -5.0)
    with pytest.raises(ValueError, match="unknown component"):
        component_properties("salt", 4.0)
    with pytest.raises(ValueError, match="lies outside"):
        component_properties("water", 200.0)
