"""Scatter and extremes of peak pressure against samples whose law is known."""

import math

import numpy as np
import pytest
from scipy import stats

from firedeck.duty.limits import DutyError
from firedeck.duty.statistics import LAWS, describe_scatter, largest_peak


def normal_cycles(count, seed):
    return np.random.default_rng(seed).normal(12.0, 0.7, count)


def test_scatter_of_a_known_sample():
    scatter = describe_scatter(np.array([10.0, 11.0, 12.0, 13.0, 14.0]))
    assert scatter.mean.value == pytest.approx(12.0)
    assert scatter.deviation.value == pytest.approx(math.sqrt(2.5))
    # Student's t with 4 degrees of freedom at 97.5 %: 2.776 (any table)
    assert scatter.mean.high - 12.0 == pytest.approx(2.776 * math.sqrt(2.5 / 5), rel=1e-3)
    assert scatter.coefficient == pytest.approx(math.sqrt(2.5) / 12.0)


def test_intervals_hold_the_truth_as_often_as_they_say():
    held_mean = held_deviation = 0
    for seed in range(200):
        scatter = describe_scatter(normal_cycles(60, seed))
        held_mean += scatter.mean.low <= 12.0 <= scatter.mean.high
        held_deviation += scatter.deviation.low <= 0.7 <= scatter.deviation.high
    assert 180 <= held_mean <= 200
    assert 180 <= held_deviation <= 200


def test_normal_cycles_choose_the_normal_law_and_meet_its_extreme():
    cycles = 100_000
    # median of the largest of N normal values: the quantile at 0.5^(1/N)
    truth = 12.0 + 0.7 * stats.norm.isf(-math.expm1(math.log(0.5) / cycles))
    held = chosen = 0
    for seed in range(40):
        found = largest_peak(normal_cycles(300, seed), cycles)
        chosen += found.law == "normal"
        held += found.estimate.low <= truth <= found.estimate.high
    assert chosen >= 34
    assert held >= 36


def test_gumbel_law_is_recovered_by_its_fit():
    sample = stats.gumbel_r.rvs(loc=12.0, scale=0.4, size=4000, random_state=np.random.default_rng(3))
    # the largest of N Gumbel values is Gumbel again, moved up by scale ln N; its median follows
    truth = 12.0 + 0.4 * (math.log(50_000) - math.log(math.log(2.0)))
    for law in ("gumbel", "gev"):
        found = largest_peak(sample, 50_000, law=law)
        assert found.estimate.low < truth < found.estimate.high
    assert largest_peak(sample, 50_000, law="gumbel").estimate.value == pytest.approx(truth, rel=0.03)
    assert largest_peak(sample, 50_000).law != "normal"


def test_bounded_cycles_show_in_the_shape():
    sample = np.random.default_rng(5).uniform(10.0, 14.0, 4000)
    assert largest_peak(sample, 100_000, law="gev").estimate.value == pytest.approx(14.0, abs=0.05)
    assert largest_peak(sample, 100_000, law="gumbel").estimate.value > 14.05


def test_lognormal_law_follows_its_closed_form():
    sample = np.exp(np.random.default_rng(7).normal(-1.0, 0.5, 3000))
    truth = math.exp(-1.0 + 0.5 * stats.norm.isf(-math.expm1(math.log(0.5) / 1e4)))
    assert largest_peak(sample, 10_000, law="lognormal").estimate.value == pytest.approx(truth, rel=0.06)


def test_extreme_grows_with_the_cycles_and_says_how_far_it_reaches():
    sample = normal_cycles(300, 1)
    few, many = (largest_peak(sample, count) for count in (1000, 1_000_000))
    assert many.estimate.value > few.estimate.value > sample.mean()
    assert any("nobody measured that far out" in note for note in many.notes)
    assert set(many.others) == set(LAWS) - {many.law}


def test_drift_is_told():
    sample = normal_cycles(300, 2) + np.linspace(0.0, 2.0, 300)
    assert any("neighbouring cycles" in note for note in largest_peak(sample, 1000).notes)


def test_poor_fit_is_told():
    sample = np.concatenate([np.full(150, 10.0), np.full(150, 14.0)]) + normal_cycles(300, 4) * 0.01
    assert any("poorly" in note for note in largest_peak(sample, 1000, law="normal").notes)


def test_same_cycles_have_no_scatter():
    found = largest_peak(np.full(50, 11.0), 1000)
    assert (found.estimate.low, found.estimate.value, found.estimate.high) == (11.0, 11.0, 11.0)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: largest_peak(normal_cycles(300, 1), 1000, law="weibull"), "no law is called"),
        (lambda: largest_peak(normal_cycles(10, 1), 1000), "too few"),
        (lambda: largest_peak(normal_cycles(300, 1), 0), "no cycles"),
        (lambda: largest_peak(normal_cycles(300, 1) - 12.0, 10, law="lognormal"), "above zero"),
        (lambda: describe_scatter(np.array([1.0, 2.0])), "show no scatter"),
    ],
)
def test_refusals(call, words):
    with pytest.raises(DutyError, match=words):
        call()
