"""Normal beliefs about a slowly changing state, carried forward and backward in time, for many packs at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Belief:
    """Normal distributions of N states of d entries.

    Attributes
    ----------
    mean : FloatArray
        Shape (N, d) [unit of the state]
    covariance : FloatArray
        Shape (N, d, d) [unit squared]
    """

    mean: FloatArray
    covariance: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Message:
    """What some readings say about N states, apart from anything known otherwise: a log-likelihood up to a constant.

    Attributes
    ----------
    precision : FloatArray
        Shape (N, d, d) [1 / unit squared]
    vector : FloatArray
        Precision times the value the readings stand for, shape (N, d) [1 / unit]
    """

    precision: FloatArray
    vector: FloatArray


def silence(count: int, size: int) -> Message:
    """Messages of no readings at all.

    Parameters
    ----------
    count, size : int
        Number N of states and d of their entries [1]

    Returns
    -------
    Message
        All zero [1]

    References
    ----------
    .. [1] No source: a definition.
    """
    return Message(np.zeros((count, size, size)), np.zeros((count, size)))


def told(belief: Belief, mean: FloatArray, covariance: FloatArray) -> Message:
    """What readings said that brought the first k entries of beliefs to a new mean and covariance.

    Parameters
    ----------
    belief : Belief
        Before the readings [unit of the state]
    mean : FloatArray
        Of the first k entries after the readings, shape (N, k) [unit of the state]
    covariance : FloatArray
        Of the same, shape (N, k, k) [unit squared]

    Returns
    -------
    Message
        What the readings alone said [unit of the state]

    Notes
    -----
    Normal densities multiply: precisions add up, and so do precisions times means.

    References
    ----------
    .. [1] C. M. Bishop, Pattern Recognition and Machine Learning, Springer 2006, eq. (2.116), (2.117).
    """
    k, size = mean.shape[1], belief.mean.shape[1]
    was: FloatArray = np.asarray(np.linalg.inv(belief.covariance[:, :k, :k]), dtype=np.float64)
    now: FloatArray = np.asarray(np.linalg.inv(covariance), dtype=np.float64)
    precision = np.zeros((len(mean), size, size))
    precision[:, :k, :k] = now - was
    vector = np.zeros((len(mean), size))
    vector[:, :k] = _times(now, mean) - _times(was, belief.mean[:, :k])
    return Message(precision, vector)


def joined(belief: Belief, message: Message) -> Belief:
    """Beliefs after taking in what some readings said.

    Parameters
    ----------
    belief : Belief
        Before [unit of the state]
    message : Message
        What was read [unit of the state]

    Returns
    -------
    Belief
        After [unit of the state]

    Notes
    -----
    ``(P^-1 + L)^-1 = (I + P L)^-1 P``, which needs no inverse of a covariance that may be nearly singular.

    References
    ----------
    .. [1] C. M. Bishop, Pattern Recognition and Machine Learning, Springer 2006, eq. (2.116), (2.117).
    """
    size = belief.mean.shape[1]
    spread = np.eye(size) + belief.covariance @ message.precision
    right = np.concatenate([belief.covariance, (belief.mean + _times(belief.covariance, message.vector))[..., None]], axis=2)
    solved = np.linalg.solve(spread, right)
    covariance = solved[..., :size]
    return Belief(solved[..., size], 0.5 * (covariance + np.swapaxes(covariance, 1, 2)))


def forward(belief: Belief, transition: FloatArray, noise: FloatArray) -> Belief:
    """Beliefs one step later.

    Parameters
    ----------
    belief : Belief
        Now [unit of the state]
    transition : FloatArray
        How the state goes on, shape (N, d, d) [1]
    noise : FloatArray
        Covariance of what is unforeseen in the step, shape (N, d, d) [unit squared]

    Returns
    -------
    Belief
        One step later [unit of the state]

    References
    ----------
    .. [1] H. E. Rauch, F. Tung, C. T. Striebel, AIAA J. 3 (1965) 1445-1450, doi 10.2514/3.3166, eq. (2.4), (2.5).
    """
    return Belief(_times(transition, belief.mean), transition @ belief.covariance @ np.swapaxes(transition, 1, 2) + noise)


def backward(message: Message, transition: FloatArray, noise: FloatArray) -> Message:
    """What readings said about a state says about the state one step earlier.

    Parameters
    ----------
    message : Message
        About the later state [unit of the state]
    transition, noise : FloatArray
        Of the step between, as in `forward` [1], [unit squared]

    Returns
    -------
    Message
        About the earlier state [unit of the state]

    Notes
    -----
    ``F' (I + L Q)^-1 L F`` and ``F' (I + L Q)^-1 l`` for precision L and vector l.

    References
    ----------
    .. [1] D. C. Fraser, J. E. Potter, IEEE Trans. Autom. Control 14 (1969) 387-390, doi 10.1109/TAC.1969.1099196.
    """
    size = message.vector.shape[1]
    blurred = np.eye(size) + message.precision @ noise
    solved = np.linalg.solve(blurred, np.concatenate([message.precision, message.vector[..., None]], axis=2))
    turned = np.swapaxes(transition, 1, 2)
    precision = turned @ solved[..., :size] @ transition
    return Message(0.5 * (precision + np.swapaxes(precision, 1, 2)), _times(turned, solved[..., size]))


def together(first: Message, second: Message) -> Message:
    """What two sets of readings say together.

    Parameters
    ----------
    first, second : Message
        Of the same states [unit of the state]

    Returns
    -------
    Message
        Both [unit of the state]

    References
    ----------
    .. [1] Bayes: independent likelihoods multiply.
    """
    return Message(first.precision + second.precision, first.vector + second.vector)


def _times(matrix: FloatArray, vector: FloatArray) -> FloatArray:
    return np.asarray((matrix @ vector[..., None])[..., 0], dtype=np.float64)
