"""Facts about pooled means and many tests. Oracles: statsmodels, published examples."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects
from statsmodels.stats.multitest import multipletests

from sizing.statistics.pooling import Pooled, combine, holm, levelled


@pytest.mark.parametrize("seed", range(8))
def test_pooled_means_are_those_of_statsmodels(seed):
    rng = np.random.default_rng(seed)
    u = rng.uniform(0.2, 2.0, rng.integers(3, 12))
    values = rng.normal(1.0, rng.choice([0.1, 2.0]), len(u)) + rng.normal(0.0, u)
    theirs = combine_effects(values, u**2, method_re="iterated", use_t=True)  # iterates to 1e-5
    ours = combine(values, u)
    assert ours.tau**2 == pytest.approx(theirs.tau2, rel=1e-3, abs=1e-4)
    assert ours.value == pytest.approx(theirs.mean_effect_re, abs=1e-4)
    assert ours.u == pytest.approx(theirs.sd_eff_w_re_hksj, abs=1e-4)
    assert ours.dof == len(u) - 1


def test_equally_accurate_values_give_the_t_interval_of_scipy():
    values = np.array([1.2, 0.8, 1.9, 1.1, 0.4])
    theirs = stats.ttest_1samp(values, 0.0)
    low, high = theirs.confidence_interval(0.95)
    ours = combine(values, np.full(5, 0.3))
    assert (ours.interval.low, ours.interval.high) == (pytest.approx(low), pytest.approx(high))
    assert ours.p == pytest.approx(theirs.pvalue)


def test_the_difference_of_two_means_is_welchs():
    a, b = np.array([1.2, 0.8, 1.9, 1.1]), np.array([0.1, 0.3, -1.2, 0.9, 0.2, 0.4])
    theirs = stats.ttest_ind(a, b, equal_var=False)
    ours = combine(a, np.full(4, 1e-6)).minus(combine(b, np.full(6, 1e-6)))
    assert ours.dof == pytest.approx(theirs.df)
    assert ours.p == pytest.approx(theirs.pvalue)


@pytest.mark.parametrize("seed", range(5))
def test_many_tests_are_adjusted_as_statsmodels_does(seed):
    p = np.random.default_rng(seed).uniform(0.0, 0.2, 40).tolist()
    assert holm(p) == pytest.approx(multipletests(p, method="holm")[1].tolist())


def test_no_test_needs_no_adjustment():
    assert holm([]) == []


def test_one_value_alone_has_no_interval():
    with pytest.raises(ValueError, match="no scatter"):
        combine(np.array([1.0]), np.array([0.1]))


def test_values_that_are_all_one_are_no_finding():
    assert combine(np.zeros(4), np.ones(4)).p == 1.0
    assert Pooled(0.0, 0.0, 3.0).minus(Pooled(0.0, 0.0, 5.0)).dof == 3.0


def test_means_are_levelled_as_statsmodels_covariance_analysis_does():
    rng = np.random.default_rng(3)
    groups = []
    for shift in (0.0, 1.0, 3.0):
        slopes = rng.normal(0.0, 1.0, 8)
        groups.append((shift + 1.3 * slopes + rng.normal(0.0, 0.5, 8), slopes))
    of_group = np.kron(np.eye(3), np.ones((8, 1)))
    slopes = np.concatenate([b for _, b in groups])
    growth = sm.OLS(np.concatenate([m for m, _ in groups]), np.column_stack([slopes, of_group])).fit().params[0]
    level = np.mean([b.mean() for _, b in groups])
    for ours, (m, b) in zip(levelled(groups), groups, strict=True):
        assert ours == pytest.approx(m - growth * (b - level))


def test_means_stay_where_slopes_say_nothing_or_grow_the_other_way():
    m, b = np.arange(12.0), np.linspace(1.0, 0.0, 12)
    assert np.array_equal(levelled([(m, b)])[0], m)
    assert np.array_equal(levelled([(m, np.full(12, np.nan))])[0], m)
    assert np.array_equal(levelled([(m[:3], m[:3]), (m[:3], m[:3])])[0], m[:3])
    assert levelled([]) == []
