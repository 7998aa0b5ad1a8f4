"""Beliefs carried along a chain, against one dense normal distribution of all its states at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from tracker.physics.gaussian_chain import Belief, Message, backward, forward, joined, silence, together, told

FloatArray = NDArray[np.float64]

SIZE, STEPS = 3, 5


@dataclass(frozen=True)
class Chain:
    """A first belief, steps onward, and readings ``y = H x + noise`` of the state at each place."""

    mean: FloatArray
    covariance: FloatArray
    transitions: list[FloatArray]
    noises: list[FloatArray]
    matrices: list[FloatArray]
    values: list[FloatArray]
    sds: list[FloatArray]

    def said(self, place: int) -> Message:
        """What the readings at one place say of the state there, by the definition of a normal likelihood."""
        weight = 1.0 / np.square(self.sds[place])
        turned = self.matrices[place].T * weight
        return Message((turned @ self.matrices[place])[None], (turned @ self.values[place])[None])


def drawn_chain(seed: int) -> Chain:
    rng = np.random.default_rng(seed)

    def positive(scale: float) -> FloatArray:
        root = rng.normal(0.0, scale, (SIZE, SIZE))
        return np.asarray(root @ root.T + 0.01 * scale**2 * np.eye(SIZE))

    counts = rng.integers(0, 3, STEPS)
    return Chain(
        mean=rng.normal(0.0, 1.0, SIZE),
        covariance=positive(1.0),
        transitions=[np.eye(SIZE) + rng.normal(0.0, 0.3, (SIZE, SIZE)) for _ in range(STEPS - 1)],
        noises=[positive(0.3) for _ in range(STEPS - 1)],
        matrices=[rng.normal(0.0, 1.0, (count, SIZE)) for count in counts],
        values=[rng.normal(0.0, 2.0, count) for count in counts],
        sds=[rng.uniform(0.05, 2.0, count) for count in counts],
    )


def all_at_once(chain: Chain, wanted: int, heard: Callable[[int], bool]) -> tuple[FloatArray, FloatArray]:
    """Mean and covariance of the state at one place given the readings at the places heard, from the joint normal of everything.

    The joint covariance of all states is built from their definition and conditioned on all readings in one step.
    """
    means = [chain.mean]
    joint = np.zeros((STEPS * SIZE, STEPS * SIZE))
    joint[:SIZE, :SIZE] = chain.covariance
    for step, (transition, noise) in enumerate(zip(chain.transitions, chain.noises, strict=True), start=1):
        means.append(transition @ means[-1])
        here, last, so_far = slice(step * SIZE, (step + 1) * SIZE), slice((step - 1) * SIZE, step * SIZE), slice(0, step * SIZE)
        joint[here, so_far] = transition @ joint[last, so_far]
        joint[so_far, here] = joint[here, so_far].T
        joint[here, here] = transition @ joint[last, last] @ transition.T + noise
    places = [place for place in range(STEPS) if heard(place) and len(chain.values[place])]
    at = slice(wanted * SIZE, (wanted + 1) * SIZE)
    if not places:
        return means[wanted], joint[at, at]
    reading = np.zeros((sum(len(chain.values[place]) for place in places), STEPS * SIZE))
    row = 0
    for place in places:
        count = len(chain.values[place])
        reading[row : row + count, place * SIZE : (place + 1) * SIZE] = chain.matrices[place]
        row += count
    value = np.concatenate([chain.values[place] for place in places])
    variance = np.square(np.concatenate([chain.sds[place] for place in places]))
    total = reading @ joint @ reading.T + np.diag(variance)
    gain = np.linalg.solve(total, reading @ joint).T
    mean = np.concatenate(means)
    return (mean + gain @ (value - reading @ mean))[at], (joint - gain @ reading @ joint)[at, at]


def filtered(chain: Chain) -> list[Belief]:
    """Belief before the readings of each place, from those of the places before it."""
    belief = Belief(chain.mean[None], chain.covariance[None])
    found = [belief]
    for step in range(STEPS - 1):
        belief = forward(joined(belief, chain.said(step)), chain.transitions[step][None], chain.noises[step][None])
        found.append(belief)
    return found


def looked_back(chain: Chain) -> list[Message]:
    """What the readings of all later places say of the state at each place."""
    message = silence(1, SIZE)
    found = [message]
    for step in range(STEPS - 2, -1, -1):
        message = backward(together(chain.said(step + 1), message), chain.transitions[step][None], chain.noises[step][None])
        found.insert(0, message)
    return found


@pytest.mark.parametrize("seed", range(20))
def test_the_chain_is_the_dense_normal(seed: int) -> None:
    """Independent computation: from earlier readings, from all but a place's own, and from all, at every place."""
    chain = drawn_chain(seed)
    before, later = filtered(chain), looked_back(chain)
    for place in range(STEPS):
        others = joined(before[place], later[place])
        everything = joined(before[place], together(chain.said(place), later[place]))
        for belief, heard in (
            (before[place], lambda other, place=place: other < place),
            (others, lambda other, place=place: other != place),
            (everything, lambda _other: True),
        ):
            mean, covariance = all_at_once(chain, place, heard)
            np.testing.assert_allclose(belief.mean[0], mean, rtol=1e-8, atol=1e-9)
            np.testing.assert_allclose(belief.covariance[0], covariance, rtol=1e-8, atol=1e-9)


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("known", [1, 2, SIZE])
def test_what_was_told_joins_to_what_is_known_now(seed: int, known: int) -> None:
    """Round trip: the message that brought the first entries to a new belief brings all entries there as conditioning would."""
    chain = drawn_chain(seed)
    belief = Belief(chain.mean[None], chain.covariance[None])
    rng = np.random.default_rng(seed)
    reading = rng.normal(0.0, 1.0, (2, known))
    value, variance = rng.normal(0.0, 1.0, 2), np.diag([0.2, 0.7])
    whole = np.concatenate([reading, np.zeros((2, SIZE - known))], axis=1)
    gain = chain.covariance @ whole.T @ np.linalg.inv(whole @ chain.covariance @ whole.T + variance)
    mean, covariance = chain.mean + gain @ (value - whole @ chain.mean), chain.covariance - gain @ whole @ chain.covariance
    message = told(belief, mean[None, :known], covariance[None, :known, :known])
    assert not message.precision[0, known:].any()
    assert not message.vector[0, known:].any()
    np.testing.assert_allclose(message.precision[0, :known, :known], reading.T @ np.linalg.inv(variance) @ reading, atol=1e-8)
    after = joined(belief, message)
    np.testing.assert_allclose(after.mean[0], mean, rtol=1e-8, atol=1e-9)
    np.testing.assert_allclose(after.covariance[0], covariance, rtol=1e-8, atol=1e-9)


def test_nothing_read_changes_nothing() -> None:
    """Limit: silence joined to a belief, carried back, or added to a message leaves everything to the last digit."""
    chain = drawn_chain(1)
    belief = Belief(chain.mean[None], chain.covariance[None])
    same = joined(belief, silence(1, SIZE))
    np.testing.assert_array_equal(same.mean, belief.mean)
    np.testing.assert_array_equal(same.covariance, belief.covariance)
    carried = backward(silence(1, SIZE), chain.transitions[0][None], chain.noises[0][None])
    assert not carried.precision.any()
    assert not carried.vector.any()
    place = next(place for place in range(STEPS) if len(chain.values[place]))
    both = together(chain.said(place), silence(1, SIZE))
    np.testing.assert_array_equal(both.precision, chain.said(place).precision)
    np.testing.assert_array_equal(both.vector, chain.said(place).vector)
    unmoved = told(belief, belief.mean, belief.covariance)
    assert np.abs(unmoved.precision).max() < 1e-12
    assert np.abs(unmoved.vector).max() < 1e-12


def test_a_step_without_noise_turns_what_was_said_and_loses_nothing() -> None:
    """Limit: with no noise the message is F' L F and F' l; with the step undone it is the message again."""
    chain = drawn_chain(2)
    message = Message(chain.covariance[None], chain.mean[None])
    turn, quiet = chain.transitions[0][None], np.zeros((1, SIZE, SIZE))
    back = backward(message, turn, quiet)
    np.testing.assert_allclose(back.precision[0], turn[0].T @ chain.covariance @ turn[0], rtol=1e-12)
    np.testing.assert_allclose(back.vector[0], turn[0].T @ chain.mean, rtol=1e-12)
    again = backward(back, np.asarray(np.linalg.inv(turn), dtype=np.float64), quiet)
    np.testing.assert_allclose(again.precision, message.precision, rtol=1e-9)
    np.testing.assert_allclose(again.vector, message.vector, rtol=1e-9)


def test_after_a_step_of_endless_noise_nothing_is_known() -> None:
    """Limit: the later state then says nothing of the earlier one, and the belief about it is as wide as the noise."""
    chain = drawn_chain(3)
    endless = 1e12 * np.eye(SIZE)[None]
    message = backward(Message(chain.covariance[None], chain.mean[None]), chain.transitions[0][None], endless)
    assert np.abs(message.precision).max() < 1e-9
    assert np.abs(message.vector).max() < 1e-9
    ahead = forward(Belief(chain.mean[None], chain.covariance[None]), chain.transitions[0][None], endless)
    np.testing.assert_allclose(ahead.covariance, endless, rtol=1e-9, atol=1e3)
    np.testing.assert_allclose(ahead.mean[0], chain.transitions[0] @ chain.mean)


def test_a_reading_without_error_settles_the_state() -> None:
    """Limit: an all but perfect reading of every entry leaves the reading and no doubt, though the belief was all but certain."""
    belief = Belief(np.zeros((1, SIZE)), 1e-8 * np.eye(SIZE)[None])
    value = np.array([1.0, -2.0, 3.0])
    sure = joined(belief, Message(1e16 * np.eye(SIZE)[None], 1e16 * value[None]))
    np.testing.assert_allclose(sure.mean[0], value, rtol=1e-7)
    assert np.diagonal(sure.covariance[0]).max() < 1.1e-16


def test_a_belief_that_allows_only_one_value_keeps_it() -> None:
    """Limit: a covariance of nothing at all has no inverse, and no reading moves it."""
    chain = drawn_chain(4)
    certain = Belief(chain.mean[None], np.zeros((1, SIZE, SIZE)))
    after = joined(certain, Message(5.0 * np.eye(SIZE)[None], np.ones((1, SIZE))))
    np.testing.assert_array_equal(after.mean[0], chain.mean)
    assert not after.covariance.any()


@pytest.mark.parametrize("seed", range(30))
def test_covariances_stay_symmetric_and_positive(seed: int) -> None:
    """Limit: after every step along random chains of two hundred readings, some a billion times surer than others."""
    rng = np.random.default_rng(seed)
    belief = Belief(np.zeros((1, SIZE)), np.diag([1.0, 1e-6, 25.0])[None])
    message = silence(1, SIZE)
    for _ in range(200):
        row = rng.normal(0.0, 1.0, (1, SIZE))
        sure = 10.0 ** rng.uniform(-3.0, 6.0)
        read = Message((sure * row.T @ row)[None], sure * row * rng.normal())
        noise = np.diag(10.0 ** rng.uniform(-9.0, -2.0, SIZE))[None]
        turn = np.eye(SIZE)[None] + rng.normal(0.0, 0.02, (1, SIZE, SIZE))
        belief = forward(joined(belief, read), turn, noise)
        message = backward(together(read, message), turn, noise)
        for matrix in (belief.covariance[0], message.precision[0]):
            assert np.abs(matrix - matrix.T).max() <= 1e-12 * np.abs(matrix).max()
            assert np.linalg.eigvalsh(matrix).min() > -1e-9 * np.abs(matrix).max()
        assert np.diagonal(belief.covariance[0]).min() > 0.0


def test_many_at_once_are_the_same_as_one_by_one() -> None:
    """Regression: to the last digit, so that a pack's answer does not hang on which others are looked at with it."""
    chains = [drawn_chain(seed) for seed in range(40)]
    belief = Belief(np.stack([chain.mean for chain in chains]), np.stack([chain.covariance for chain in chains]))
    turn, noise = np.stack([chain.transitions[0] for chain in chains]), np.stack([chain.noises[0] for chain in chains])
    said = [chain.said(1) for chain in chains]
    message = Message(np.concatenate([one.precision for one in said]), np.concatenate([one.vector for one in said]))
    assert message.precision.any()

    def run(some: slice) -> tuple[FloatArray, ...]:
        here = Belief(belief.mean[some], belief.covariance[some])
        heard = Message(message.precision[some], message.vector[some])
        after = joined(here, heard)
        ahead = forward(after, turn[some], noise[some])
        back = backward(together(heard, heard), turn[some], noise[some])
        was_told = told(here, after.mean[:, :2], after.covariance[:, :2, :2])
        return (
            after.mean, after.covariance, ahead.mean, ahead.covariance, back.precision, back.vector, was_told.precision, was_told.vector,
        )  # fmt: skip

    whole = run(slice(None))
    for place in range(len(chains)):
        for alone, together_with_others in zip(run(slice(place, place + 1)), whole, strict=True):
            np.testing.assert_array_equal(alone[0], together_with_others[place])
