"""The law of one edge's time in the spindle: a Weibull life beside chance breakage, cut short at a planned change."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calc.errors import WorkingError

Array = npt.NDArray[np.float64]

# Beyond a summed chance of exp(-45) there is no life left that a double can tell from none.
NOTHING_LEFT = 45.0
WORN_OUT = 1e300  # as good as infinite, and still a number that can be taken from itself


@dataclass(frozen=True, slots=True)
class Lives:
    """Rows of life laws, flat arrays of one length.

    An edge outlasts t minutes with the chance exp(-(t/scale)^shape - breakage * t).

    shape, scale : Weibull law of wear, dimensionless and minutes in cut
    used : minutes in cut the first edge has behind it
    change_at : planned change age, minutes; infinite for never
    breakage : sudden ends per minute in cut
    """

    shape: Array
    scale: Array
    used: Array
    change_at: Array
    breakage: Array

    @classmethod
    def checked(
        cls,
        shape: npt.ArrayLike,
        scale: npt.ArrayLike,
        used: npt.ArrayLike,
        change_at: npt.ArrayLike,
        breakage: npt.ArrayLike,
        rows: tuple[int, ...],
    ) -> Lives:
        """Check the inputs, named as the attributes, and flatten them to the shape `rows`.

        Raises
        ------
        WorkingError : naming the input at fault

        >>> Lives.checked(2.0, [40.0, 50.0], 0.0, np.inf, 0.0, (2,)).scale.tolist()
        [40.0, 50.0]
        """
        flat = [
            np.broadcast_to(np.asarray(v, dtype=np.float64), rows).ravel()
            for v in (shape, scale, used, change_at, breakage)
        ]
        for name, values in (("shape", flat[0]), ("scale", flat[1])):
            if not (np.isfinite(values).all() and (values > 0).all()):
                raise WorkingError(name, f"The {name} of the life law must be a number above zero.")
        if not (np.isfinite(flat[2]).all() and (flat[2] >= 0).all()):
            raise WorkingError("used", "The minutes already cut must be a number and not below zero.")
        if np.isnan(flat[3]).any() or (flat[3] <= 0).any():
            raise WorkingError(
                "change_at", "The age at which edges come off must be above zero; leave it out for never."
            )
        if not (np.isfinite(flat[4]).all() and (flat[4] >= 0).all()):
            raise WorkingError("breakage", "Sudden ends per minute must be a number and not below zero.")
        return cls(*flat)

    def take(self, rows: npt.NDArray[np.intp]) -> Lives:
        """Return some of the rows.

        >>> Lives.checked(2.0, [40.0, 50.0], 0.0, np.inf, 0.0, (2,)).take(np.array([1])).scale.tolist()
        [50.0]
        """
        return Lives(self.shape[rows], self.scale[rows], self.used[rows], self.change_at[rows], self.breakage[rows])

    def hazard(self, age: Array) -> Array:
        """Return the summed chance up to `age`, minus ln of lasting; rows first, further axes free.

        >>> Lives.checked(2.0, 40.0, 0.0, np.inf, 0.01, (1,)).hazard(np.array([[20.0, 40.0]])).round(6).tolist()
        [[0.45, 1.4]]
        """
        axes = (slice(None),) + (None,) * (age.ndim - 1)
        wear = np.minimum((age / self.scale[axes]) ** self.shape[axes], WORN_OUT)
        # Nothing times an infinite age is no number; without breakage the term is left out.
        return np.asarray(wear + self.breakage[axes] * age if self.breakage.any() else wear)

    def failed_new(self, age: Array) -> Array:
        """Return the chance that a new edge has failed by `age` (rows x points) before its planned change.

        >>> round(float(Lives.checked(2.0, 40.0, 0.0, np.inf, 0.0, (1,)).failed_new(np.array([[40.0]]))[0, 0]), 4)
        0.6321
        """
        return np.asarray(-np.expm1(-self.hazard(np.minimum(age, self.change_at[:, None]))))

    def kept_new(self) -> Array:
        """Return the chance that a new edge lasts to its planned change.

        >>> Lives.checked(2.0, 40.0, 0.0, np.inf, 0.0, (1,)).kept_new().tolist()
        [0.0]
        """
        planned = np.isfinite(self.change_at)
        return np.where(planned, np.exp(-self.hazard(np.where(planned, self.change_at, 0.0))), 0.0)

    def failed_first(self, more: Array) -> Array:
        """Return the chance that the part-used edge fails within `more` minutes, before its planned change.

        `more` has the rows first; further axes are free.

        >>> law = Lives.checked(2.0, 40.0, 30.0, np.inf, 0.0, (1,))
        >>> round(float(law.failed_first(np.array([[10.0]]))[0, 0]), 4)
        0.3544
        """
        axes = (slice(None),) + (None,) * (more.ndim - 1)
        used = self.used[axes]
        reached = np.maximum(np.minimum(used + more, self.change_at[axes]), used)
        return np.asarray(-np.expm1(self.hazard(self.used)[axes] - self.hazard(reached)))

    def first_planned(self) -> Array:
        """Return the chance that the part-used edge lasts to its planned change (1 when that is overdue).

        >>> Lives.checked(2.0, 40.0, 30.0, 20.0, 0.0, (1,)).first_planned().tolist()
        [1.0]
        """
        planned = np.isfinite(self.change_at)
        end = np.where(planned, np.maximum(self.change_at, self.used), self.used)
        return np.where(planned, np.exp(self.hazard(self.used) - self.hazard(end)), 0.0)

    def first_room(self) -> Array:
        """Return the minutes from now to the first edge's planned change; 0 when overdue.

        >>> Lives.checked(2.0, 40.0, 30.0, 50.0, 0.0, (1,)).first_room().tolist()
        [20.0]
        """
        return np.maximum(self.change_at - self.used, 0.0)

    def first_lasts(self, minutes: Array) -> Array:
        """Return the chance that the first edge needs no change within `minutes` (rows x days).

        >>> law = Lives.checked(3.0, 45.0, 30.0, np.inf, 0.0, (1,))
        >>> f"{law.first_lasts(np.array([[15.0]]))[0, 0]:.4f}"
        '0.4947'
        """
        lasts = np.exp(self.hazard(self.used)[:, None] - self.hazard(self.used[:, None] + minutes))
        due = (minutes - self.first_room()[:, None] >= -1e-9 * np.maximum(minutes, 1.0)) & (minutes > 0)
        return np.where(due, 0.0, lasts)

    def first_mean(self) -> Array:
        """Return the mean minutes that the part-used edge still lasts.

        >>> Lives.checked(1.0, 40.0, 30.0, np.inf, 0.0, (1,)).first_mean().round(6).tolist()
        [40.0]
        """
        before = np.minimum((self.used / self.scale) ** self.shape, WORN_OUT)
        end = np.minimum(self.change_at, self.scale * (before + NOTHING_LEFT) ** (1 / self.shape))
        width = np.maximum(end - self.used, 0.0)
        fraction, weights = _nodes()
        lasting = np.exp(
            self.hazard(self.used)[:, None] - self.hazard(self.used[:, None] + width[:, None] * fraction**3)
        )
        return np.asarray(width * ((lasting * 3 * fraction**2) @ weights))


def mean_life(lives: Lives) -> Array:
    """Give the mean minutes between changes once the first edge is off.

    Parameters
    ----------
    lives : the rows of life laws

    Returns
    -------
    minutes, one per row

    >>> mean_life(Lives.checked(1.0, 40.0, 0.0, np.inf, 0.0, (1,))).round(6).tolist()
    [40.0]

    Source: [weibull-1951 (m)], the integral of the chance to last.
    """
    return _moment(lives, 1)


def second_moment(lives: Lives) -> Array:
    """Give the mean square of the minutes between changes.

    Parameters
    ----------
    lives : the rows of life laws

    Returns
    -------
    square minutes, one per row

    >>> second_moment(Lives.checked(1.0, 40.0, 0.0, np.inf, 0.0, (1,))).round(3).tolist()
    [3200.0]

    Source: [weibull-1951 (m)], the integral of twice the age times the chance to last.
    """
    return _moment(lives, 2)


def _moment(lives: Lives, power: int) -> Array:
    end = np.minimum(lives.change_at, lives.scale * NOTHING_LEFT ** (1 / lives.shape))
    fraction, weights = _nodes()
    ages = end[:, None] * fraction**3
    lasting = np.exp(-lives.hazard(ages))
    return np.asarray(end * ((lasting * power * ages ** (power - 1) * 3 * fraction**2) @ weights))


@functools.cache
def _nodes() -> tuple[Array, Array]:
    """Gauss-Legendre on 0 to 1; ages are spaced by its cube so that shapes below 1 stay accurate."""
    points, weights = np.polynomial.legendre.leggauss(96)
    return (points + 1) / 2, weights / 2
