"""Decisions and explanations keep to their targets on simulated openings; oracle: truth and slips drawn apart."""

import importlib.util
import sys
from pathlib import Path

import pytest
from scipy.stats import binom

BENCH = Path(__file__).parent / "bench"
# How rarely a simulation that keeps to a target may stray beyond what is allowed (binomial distribution).
RARE = 0.001


def load(name):
    spec = importlib.util.spec_from_file_location(name, BENCH / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def tally():
    load("slips_drawn")
    return load("simulate_slips").simulate(200, seed=5)


# Targets of the project's task; `alike`: counts of one opening that hang together (its readings, long and short).
@pytest.mark.parametrize(
    ("key", "target", "alike"),
    [
        ("a slip of at least the smallest slip differs", 0.95, 3),
        ("off by the smallest slip differs", 0.95, 16),
        (("first", "rates"), 0.85, 3),
        ("unknown kind: 'none of these' first", 0.70, 3),
    ],
)
def test_at_least_the_target_is_reached(tally, key, target, alike):
    share, n = tally.share(key)
    assert share * (n // alike) >= binom.ppf(RARE, n // alike, target)


@pytest.mark.parametrize(
    ("key", "target", "alike"),
    [
        ("off by the tolerance agrees", 0.05, 16),
        ("off by the tolerance and one u agrees", 0.005, 16),
        (("held by doubt", "no warning"), 0.005, 1),
        ("a sound job of twelve is held, no warning", 0.03, 1),
    ],
)
def test_at_most_the_target_is_reached(tally, key, target, alike):
    share, n = tally.share(key)
    assert share * (n // alike) <= binom.isf(RARE, n // alike, target)


def test_who_is_nearly_sure_is_nearly_always_right(tally):
    share, n = tally.share(("bin", "rates", 5))
    assert n > 20
    assert share >= 0.95


def test_the_same_seed_gives_the_same_counts():
    load("slips_drawn")
    bench = load("simulate_slips")
    first, second = (bench.simulate(8, seed=2).of for _ in range(2))
    assert dict(first) == dict(second)
