"""Linearised weighted least squares with priors and a robust loss, for many small problems at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

DEGREES_OF_FREEDOM = 4.0
"""Of the Student-t loss: readings typed by people have heavy tails; 4 is the usual choice (Lange et al. 1989)."""


BIWEIGHT_END = 4.685
"""Where Tukey's biweight reaches zero: 95 % efficient for normal errors."""


def student_weight(scaled_residual: FloatArray) -> FloatArray:
    """Weight of a reading under a Student-t error, 1.25 at no residual and falling without limit.

    Parameters
    ----------
    scaled_residual : FloatArray
        Residuals in standard uncertainties, any shape [1]

    Returns
    -------
    FloatArray
        ``(nu + 1) / (nu + z^2)`` scaled so that a residual of one standard uncertainty has weight 1 [1]

    References
    ----------
    .. [1] K. L. Lange, R. J. A. Little, J. M. G. Taylor, J. Am. Stat. Assoc. 84 (1989) 881-896, doi 10.1080/01621459.1989.10478852.
    """
    return (DEGREES_OF_FREEDOM + 1.0) / (DEGREES_OF_FREEDOM + np.square(scaled_residual))


def biweight(scaled_residual: FloatArray, end: float = BIWEIGHT_END) -> FloatArray:
    """Weight that leaves a reading out altogether once it is far enough off.

    Parameters
    ----------
    scaled_residual : FloatArray
        Residuals in standard uncertainties, any shape [1]
    end : float
        Where the weight reaches zero [1]

    Returns
    -------
    FloatArray
        ``(1 - (z / end)^2)^2`` within `end`, 0 beyond [1]

    References
    ----------
    .. [1] A. E. Beaton, J. W. Tukey, Technometrics 16 (1974) 147-185, doi 10.1080/00401706.1974.10489171.
    """
    inside = np.maximum(0.0, 1.0 - np.square(scaled_residual / end))
    return np.asarray(np.square(inside), dtype=np.float64)


def solve(
    jacobian: FloatArray, residual: FloatArray, weight: FloatArray, prior_precision: FloatArray, prior_pull: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """One Gauss-Newton step and the curvature of many small problems.

    Parameters
    ----------
    jacobian : FloatArray
        Derivative of the residuals, shape (N, M, P) [1]
    residual : FloatArray
        Residuals divided by their standard uncertainties, shape (N, M) [1]
    weight : FloatArray
        Robust weight of each residual, 0 for one that does not exist, shape (N, M) [1]
    prior_precision : FloatArray
        Inverse of the prior covariance, shape (N, P, P) [1]
    prior_pull : FloatArray
        ``prior_precision @ (prior mean - x)`` at the present point, shape (N, P) [1]

    Returns
    -------
    step : FloatArray
        Change of the unknowns, shape (N, P) [1]
    precision : FloatArray
        Curvature, the inverse of the posterior covariance, shape (N, P, P) [1]

    References
    ----------
    .. [1] J. Nocedal, S. J. Wright, Numerical Optimization, 2nd ed., Springer 2006, eq. (10.23).
    """
    weighted = jacobian * weight[..., None]
    precision = prior_precision + np.swapaxes(weighted, 1, 2) @ jacobian
    gradient = prior_pull - (np.swapaxes(weighted, 1, 2) @ residual[..., None])[..., 0]
    step = np.asarray(np.linalg.solve(precision, gradient[..., None])[..., 0], dtype=np.float64)
    return step, precision
