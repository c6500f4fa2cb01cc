import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import beta, qmc

from sitekit.errors import InputFault
from sitekit.suitability.draws import MOST_DIMENSIONS, draw_weights, sobol


def test_points_equal_those_of_scipy():
    """A mistyped direction number, which leaves holes in some dimension."""
    due = qmc.Sobol(MOST_DIMENSIONS, scramble=False, bits=32).random_base2(12)
    np.testing.assert_allclose(sobol(4096, MOST_DIMENSIONS), due + 0.5 * 2.0**-32, rtol=0, atol=1e-15)


@settings(max_examples=25)
@given(st.integers(0, 9), st.integers(1, 12), st.integers(0, 2**31))
def test_every_dimension_has_one_point_per_interval(power, dimensions, seed):
    """A shift that breaks the evenness: each of the 2^k intervals holds one of 2^k points."""
    points = sobol(2**power, dimensions, seed)
    assert ((points > 0) & (points < 1)).all()
    for d in range(dimensions):
        assert sorted(np.floor(points[:, d] * 2**power).astype(int)) == list(range(2**power))


@settings(max_examples=25)
@given(st.lists(st.floats(0.05, 5.0), min_size=1, max_size=6), st.floats(3.0, 100.0))
def test_draws_have_the_mean_and_spread_of_their_distribution(weights, concentration):
    """Draws around other weights than the chosen ones, or nearer than the plan says."""
    w = np.array(weights) / np.sum(weights)
    drawn = draw_weights(weights, 1024, concentration=concentration, seed=3)
    np.testing.assert_allclose(drawn.sum(axis=1), 1.0, rtol=1e-12)
    np.testing.assert_allclose(drawn.mean(axis=0), w, atol=4e-3)
    np.testing.assert_allclose(drawn.std(axis=0), np.sqrt(w * (1 - w) / (concentration + 1)), atol=1e-2)


def test_each_weight_follows_its_beta_distribution():
    """Normalised uniform numbers in place of a Dirichlet distribution."""
    w = np.array([0.5, 0.3, 0.2])
    drawn = draw_weights(w, 4096, concentration=12.0, seed=1)
    for k, share in enumerate(w):
        for q in (0.05, 0.5, 0.95):
            due = beta.ppf(q, 12.0 * share, 12.0 * (1 - share))
            assert np.quantile(drawn[:, k], q) == pytest.approx(due, abs=0.01)


def test_even_points_halve_the_error_of_random_ones():
    """Draws that are no better than random ones: 256 even points are nearer the mean than 256 random ones."""
    w = np.array([0.4, 0.35, 0.15, 0.1])
    even = np.abs(draw_weights(w, 256, seed=5).mean(axis=0) - w).max()
    rng = np.random.default_rng(5)
    random = np.mean([np.abs(rng.dirichlet(30 * w, 256).mean(axis=0) - w).max() for _ in range(20)])
    assert even < 0.5 * random


def test_the_same_seed_gives_the_same_draws():
    """A plan that changes from run to run."""
    one = draw_weights([1, 2, 3], 64, seed=7)
    np.testing.assert_array_equal(one, draw_weights([10, 20, 30], 64, seed=7))
    assert not np.array_equal(one, draw_weights([1, 2, 3], 64, seed=8))


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: sobol(16, MOST_DIMENSIONS + 1), f"1 to {MOST_DIMENSIONS}"),
        (lambda: sobol(0, 2), "1 or more"),
        (lambda: draw_weights([1.0, 0.0], 16), "numbers above 0"),
        (lambda: draw_weights([1.0, 2.0], 16, concentration=0.0), "concentration: 0.0"),
    ],
)
def test_draws_that_cannot_be_are_refused(make, said):
    """A draw of nothing."""
    with pytest.raises(InputFault, match=said):
        make()
