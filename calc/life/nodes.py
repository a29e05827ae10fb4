"""What each node of a belief says by itself, and the range over all of them."""

import numpy as np

from calc.life.averaged import Belief
from calc.life.checks import Floats, Numbers, percentages


def node_survival(minutes: Floats, believed: Belief) -> Floats:
    """Chance that a fresh edge outlasts each age, node by node of what is believed.

    Parameters
    ----------
    minutes : ages, shape (edges, nodes, k), a shape that broadcasts to it
    believed : what is believed about each edge's law

    Returns
    -------
    chance, shape (edges, nodes, k), the breakage rate averaged over

    >>> one = Belief(np.ones((1, 1)), np.array([[60.0]]), np.array([[3.0]]), np.ones(1), np.array([900.0]))
    >>> node_survival(np.array([[[0.0, 60.0]]]), one).round(4).tolist()
    [[[1.0, 0.3449]]]

    Source: [nist-ehandbook]; the mean over a gamma distributed breakage rate has a closed form.
    """
    breaks, watched = believed.breaks[:, None, None], believed.break_minutes[:, None, None]
    with np.errstate(under="ignore", over="ignore"):
        wear = (minutes / believed.scale[..., None]) ** believed.shape[..., None]
        return np.asarray(np.exp(-wear - breaks * np.log1p(minutes / watched)))


def node_percentiles(by_node: Numbers, weight: Numbers, percent: Numbers) -> Floats:
    """Percentiles of a figure over the nodes of a belief, read halfway into each node's weight.

    Parameters
    ----------
    by_node : the figure at each node, shape (..., nodes)
    weight : weights of the nodes, summing to one, a shape that broadcasts to it
    percent : percentiles wanted, shape (k,)

    Returns
    -------
    values, shape (..., k); beyond the first and the last node theirs

    Raises
    ------
    WorkingError : when a percentile lies outside 0 to 100

    >>> node_percentiles([[3.0, 1.0, 2.0]], [[0.25, 0.25, 0.5]], [50]).tolist()
    [[2.0]]

    Source: none, linear interpolation.
    """
    wanted = np.atleast_1d(percentages("percent", percent))
    values = np.asarray(by_node, dtype=np.float64)
    order = np.argsort(values, axis=-1)
    values = np.take_along_axis(values, order, axis=-1)
    shares = np.take_along_axis(np.broadcast_to(np.asarray(weight, dtype=np.float64), values.shape), order, axis=-1)
    filled = np.cumsum(shares, axis=-1) - shares / 2
    above = np.stack([(filled < one).sum(axis=-1) for one in wanted], axis=-1)
    above = np.minimum(np.maximum(above, 1), values.shape[-1] - 1)
    (left, low), (right, high) = (
        [np.take_along_axis(of, above + side, axis=-1) for of in (filled, values)] for side in (-1, 0)
    )
    part = np.clip((wanted - left) / np.maximum(right - left, 1e-300), 0.0, 1.0)
    return np.asarray(low + part * (high - low))
