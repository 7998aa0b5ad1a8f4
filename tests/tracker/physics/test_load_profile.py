"""Loads as stretches of one current."""

from __future__ import annotations

import numpy as np
import pytest

from tracker.errors import InputError
from tracker.physics.load_profile import LoadProfile, steady_and_bursts


def test_a_profile_is_repeated_and_cut_at_the_end() -> None:
    """Limit: stretches of 2.5 s and 1 s in steps of at most a second, ended in the third round."""
    profile = LoadProfile(np.array([2.5, 1.0]), np.array([10.0, 40.0]))
    steps = list(profile.steps(1.0, 8.0))
    assert sum(seconds for seconds, _ in steps) == pytest.approx(8.0)
    assert max(seconds for seconds, _ in steps) <= 1.0
    assert [float(amperes) for _, amperes in steps] == [10.0, 10.0, 10.0, 40.0, 10.0, 10.0, 10.0, 40.0, 10.0]


def test_a_recording_ends_where_it_ends() -> None:
    """Limit: not repeated."""
    steps = list(LoadProfile(np.array([1.0, 3.0]), np.array([5.0, 7.0]), repeated=False).steps(3.0, 100.0))
    assert [(seconds, float(amperes)) for seconds, amperes in steps] == [(1.0, 5.0), (3.0, 7.0)]


def test_the_charge_does_not_depend_on_the_steps() -> None:
    """Limit: any longest step gives the same charge."""
    profile = LoadProfile(np.array([0.7, 2.2, 0.1]), np.array([[3.0, 1.0], [20.0, 2.0], [60.0, 3.0]]))
    for longest_s in (0.05, 0.3, 1.0, 10.0):
        charge = sum(seconds * amperes for seconds, amperes in profile.steps(longest_s, 30.0))
        np.testing.assert_allclose(charge, 30.0 * profile.mean_a, rtol=1e-12)


def test_bursts_raise_the_mean() -> None:
    """Limit: 10 A with bursts of 50 A for a fifth of the time is 18 A on average; levels may differ from pack to pack."""
    assert steady_and_bursts(10.0, 50.0, 2.0, 10.0).mean_a == pytest.approx(18.0)
    np.testing.assert_allclose(steady_and_bursts([10.0, 5.0], 50.0, 2.0, 10.0).mean_a, [18.0, 14.0])


def test_what_cannot_be_a_load_is_refused() -> None:
    with pytest.raises(InputError, match="one current each"):
        LoadProfile(np.array([1.0, 2.0]), np.array([1.0]))
    with pytest.raises(InputError, match="longer than 0 s"):
        LoadProfile(np.array([1.0, 0.0]), np.array([1.0, 1.0]))
    with pytest.raises(InputError, match="not a number"):
        LoadProfile(np.array([1.0]), np.array([np.nan]))
    with pytest.raises(InputError, match="over before the next"):
        steady_and_bursts(1.0, 2.0, 10.0, 10.0)
    with pytest.raises(InputError, match="end finite"):
        next(steady_and_bursts(1.0, 2.0, 1.0, 10.0).steps(1.0, float("inf")))
