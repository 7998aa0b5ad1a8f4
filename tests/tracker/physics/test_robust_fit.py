"""Least squares for many small problems, with priors and readings set aside."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tracker.physics.robust_fit import solve, student_weight

FloatArray = NDArray[np.float64]


def problems(count: int = 4, rows: int = 12, unknowns: int = 3) -> tuple[FloatArray, FloatArray]:
    chance = np.random.default_rng(3)
    return chance.normal(size=(count, rows, unknowns)), chance.normal(size=(count, rows))


def robust(matrix: FloatArray, seen: FloatArray, rounds: int = 30) -> tuple[FloatArray, FloatArray]:
    """Repeat weighting and solving of one straight problem with hardly any prior."""
    count, _, unknowns = matrix.shape
    prior = np.broadcast_to(1e-9 * np.eye(unknowns), (count, unknowns, unknowns))
    x, weight = np.zeros((count, unknowns)), np.ones_like(seen)
    for _ in range(rounds):
        residual = np.einsum("nmp,np->nm", matrix, x) - seen
        step, _ = solve(matrix, residual, weight, prior, np.einsum("nij,nj->ni", prior, -x))
        x = x + step
        weight = student_weight(np.einsum("nmp,np->nm", matrix, x) - seen)
    return x, weight


def test_unweighted_without_prior_is_ordinary_least_squares() -> None:
    """Independent: numpy.linalg.lstsq (LAPACK) on each problem by itself, from any starting point."""
    matrix, seen = problems()
    start = np.full((4, 3), 5.0)
    residual = np.einsum("nmp,np->nm", matrix, start) - seen
    step, precision = solve(matrix, residual, np.ones_like(seen), np.zeros((4, 3, 3)), np.zeros((4, 3)))
    for i in range(4):
        expected = np.linalg.lstsq(matrix[i], seen[i], rcond=None)[0]
        np.testing.assert_allclose(start[i] + step[i], expected, rtol=1e-10, atol=1e-12)
        np.testing.assert_allclose(precision[i], matrix[i].T @ matrix[i], rtol=1e-12)


def test_weight_two_is_the_reading_given_twice() -> None:
    """Independent: numpy.linalg.lstsq with the first row repeated."""
    matrix, seen = problems(count=1)
    weight = np.ones_like(seen)
    weight[0, 0] = 2.0
    step, _ = solve(matrix, -seen, weight, np.zeros((1, 3, 3)), np.zeros((1, 3)))
    expected = np.linalg.lstsq(np.vstack([matrix[0], matrix[0, :1]]), np.append(seen[0], seen[0, 0]), rcond=None)[0]
    np.testing.assert_allclose(step[0], expected, rtol=1e-10)


def test_weight_zero_is_no_reading() -> None:
    """Limit: a reading that does not exist says nothing, whatever stands in its place."""
    matrix, seen = problems(count=1)
    weight = np.ones_like(seen)
    weight[0, -1] = 0.0
    odd = seen.copy()
    odd[0, -1] = 1e6
    step, _ = solve(matrix, -odd, weight, np.zeros((1, 3, 3)), np.zeros((1, 3)))
    np.testing.assert_allclose(step[0], np.linalg.lstsq(matrix[0, :-1], seen[0, :-1], rcond=None)[0], rtol=1e-10)


def test_prior_counts_as_one_more_reading_of_each_unknown() -> None:
    """Independent: numpy.linalg.lstsq with the prior as extra rows."""
    matrix, seen = problems(count=1)
    mean, sd = np.array([0.3, -1.0, 2.0]), np.array([0.5, 0.1, 2.0])
    precision = np.diag(sd**-2.0)
    step, _ = solve(matrix, -seen, np.ones_like(seen), precision[None], (precision @ mean)[None])
    expected = np.linalg.lstsq(np.vstack([matrix[0], np.diag(1.0 / sd)]), np.concatenate([seen[0], mean / sd]), rcond=None)[0]
    np.testing.assert_allclose(step[0], expected, rtol=1e-10)


def test_problems_do_not_touch_each_other() -> None:
    """Limit: together or one by one, the same answers."""
    matrix, seen = problems()
    prior, pull = np.broadcast_to(np.eye(3), (4, 3, 3)), np.zeros((4, 3))
    together, _ = solve(matrix, -seen, np.ones_like(seen), prior, pull)
    for i in range(4):
        alone, _ = solve(matrix[i : i + 1], -seen[i : i + 1], np.ones((1, 12)), prior[i : i + 1], pull[i : i + 1])
        np.testing.assert_allclose(together[i], alone[0], rtol=1e-12)


def test_student_weight_at_its_marks() -> None:
    """Published: K. L. Lange et al., J. Am. Stat. Assoc. 84 (1989) 881-896: (nu + 1) / (nu + z^2), here with nu = 4."""
    np.testing.assert_allclose(student_weight(np.array([0.0, 1.0, -1.0, 4.0])), [1.25, 1.0, 1.0, 0.25])
    assert np.all(np.diff(student_weight(np.linspace(0.0, 50.0, 200))) < 0)


def test_one_wild_reading_is_set_aside() -> None:
    """Limit: the answer hardly moves however wild the reading is, where ordinary least squares follows it."""
    chance = np.random.default_rng(8)
    time = np.linspace(0.0, 1.0, 20)
    matrix = np.stack([np.ones(20), time], axis=1)[None]
    true = np.array([1.0, -2.0])
    honest = matrix[0] @ true + chance.normal(0.0, 0.3, 20)
    scaled = matrix / 0.3
    clean, _ = robust(scaled, honest[None] / 0.3)
    wild = honest.copy()
    wild[4] += 40.0
    found, weight = robust(scaled, wild[None] / 0.3)
    followed = np.linalg.lstsq(matrix[0], wild, rcond=None)[0]
    assert np.max(np.abs(found - clean)) < 0.1
    assert np.max(np.abs(followed - clean[0])) > 1.0
    assert int(np.argmin(weight[0])) == 4
    assert weight[0, 4] < 0.001
    assert np.all(np.delete(weight[0], 4) > 0.25)
