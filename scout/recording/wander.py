"""How far the mean of correlated fixes errs.

A receiver's error wanders: successive fixes share it for minutes, so n of them are not worth n. The error of
each axis is taken as white noise plus a first-order Gauss-Markov process, whose correlation falls as
exp(-dt / tau). How much of either and which tau, the recording itself says by its likelihood; where it is
too short to say, every tau of the range stays possible, and the radius is that of all of them by weight.
That is a Bayesian mixture: given tau and the share, the variance is integrated out, which leaves a bivariate
Student t for the mean (Box and Tiao 1973, chapter 2, for the form).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

Floats = NDArray[np.float64]

# What is held possible before the recording speaks, all alike likely. Correlation times from half a minute to
# a quarter of an hour, on a log scale; any share of the wander in the variance of a single fix; and a scatter
# of single fixes of about a metre per axis, with the weight of one fix (2 degrees of freedom): it decides for
# one fix and is nothing beside a hundred.
_TAUS_S = 30.0 * 2.0 ** np.arange(6)
_SHARES = np.array([0.0, 0.03, 0.1, 0.3, 0.6, 0.85, 0.95, 0.99, 0.999])
_SCATTER_M = 1.0
_SCATTER_FREEDOM = 2
# Never more than one independent fix a minute, however a short or smoothed recording looks: a minute is the
# correlation summed over both sides, 2 tau, for the least tau above.
_INDEPENDENT_S = 60.0
_SPELLS = 48
_UNLIKELY = 1e-5  # odds against the likeliest that are not worth carrying on
_QUANTILES = (np.arange(40) + 0.5) / 40


class MeanError(NamedTuple):
    """A mixture of circular normals for the error of a mean; variances per axis, square metres."""

    odds: Floats
    variance_m2: Floats

    def beyond(self, radius_m: float, floor_sigma_m: float = 0.0) -> float:
        """Probability that the error, with an independent normal one added, exceeds a radius."""
        spread = self.variance_m2 + floor_sigma_m**2
        return float(self.odds @ np.exp(-(radius_m**2) / (2 * spread)))

    def radius_95(self, floor_sigma_m: float = 0.0) -> float:
        """Radius that holds the error with 95 %, an independent normal one of that sigma added."""
        low, high = 0.0, 1.0
        while self.beyond(high, floor_sigma_m) > 0.05:
            low, high = high, 2 * high
        for _ in range(40):
            middle = (low + high) / 2
            low, high = (middle, high) if self.beyond(middle, floor_sigma_m) > 0.05 else (low, middle)
        return high

    def usual_variance(self) -> float:
        """Median of the variance, square metres."""
        order = np.argsort(self.variance_m2)
        return float(self.variance_m2[order[np.searchsorted(np.cumsum(self.odds[order]), 0.5)]])

    def at_least(self, variance_m2: float) -> MeanError:
        """The same, no component narrower than this."""
        return MeanError(self.odds, np.maximum(self.variance_m2, variance_m2))

    def widened(self, factor: float) -> MeanError:
        """The same with every radius longer by a factor."""
        return MeanError(self.odds, self.variance_m2 * factor**2)


def bound_independent(n: int, duration_s: float) -> float:
    """The most independent fixes that a recording of this length can hold; 1 without times."""
    return float(min(n, 1 + duration_s / _INDEPENDENT_S)) if np.isfinite(duration_s) else 1.0


def estimate_mean_error(time_s: Floats, points: Floats, weight: Floats) -> MeanError:
    """Random error of the weighted mean.

    Parameters
    ----------
    time_s : array, shape (n,)
        Seconds; all nan when unknown, and then the mean is worth a single fix.
    points : array, shape (n, 2)
        East and north, metres.
    weight : array, shape (n,)
        Inverse variances relative to the usual fix, of mean 1.
    """
    if not np.isfinite(time_s).all():
        squares = np.sum(weight @ (points - weight @ points / weight.sum()) ** 2)
        return _fit_student(np.ones(1), squares, np.ones(1), 2 * (len(points) - 1))
    spells = _make_spells(time_s, points, weight)
    log_det, east, north, one, east_one, north_one = _filter_spells(spells)
    squares = east - east_one**2 / one + north - north_one**2 / one
    freedom = 2 * (len(spells.weight) - 1)
    prior = _SCATTER_FREEDOM * _SCATTER_M**2
    # likelihood of both axes, their means and the variance integrated out
    log_odds = -log_det - np.log(one) - (freedom + _SCATTER_FREEDOM) / 2 * np.log(prior + squares)
    odds = np.exp(log_odds - log_odds.max())
    likely = odds > _UNLIKELY
    of_mean = _compute_mean_variance(spells)
    return _fit_student(odds[likely] / odds[likely].sum(), squares[likely], of_mean[likely], freedom)


class _Spells(NamedTuple):
    """Means over equal spells of time, so that a long recording costs no more than a short one.

    With z the wander of unit variance: ``fade`` is its correlation over a spell, from the first fix to the
    last; ``silence`` that from the last fix of the spell before; ``end`` the covariance of the spell's mean
    with z at either end; ``own`` the variance of the mean. Each of shape (spells, taus, 1).
    """

    mean: Floats  # (spells, 2), metres
    weight: Floats  # (spells,), summed
    fade: Floats
    silence: Floats
    end: Floats
    own: Floats


def _make_spells(time_s: Floats, points: Floats, weight: Floats) -> _Spells:
    since = time_s - time_s[0]
    spell = np.minimum(since / max(since[-1], 1e-9) * _SPELLS, _SPELLS - 1).astype(np.int64)
    first = np.flatnonzero(np.diff(spell, prepend=-1))
    last = np.append(first[1:], len(spell)) - 1
    count = (last - first + 1.0)[:, None]
    total = np.add.reduceat(weight, first)
    mean = np.add.reduceat(weight[:, None] * points, first) / total[:, None]
    length = (time_s[last] - time_s[first])[:, None] / _TAUS_S
    gap = (time_s[first] - time_s[np.append(0, last[:-1])])[:, None] / _TAUS_S
    # Means over count fixes at equal steps, by geometric series; by their first terms where a spell is short.
    step = length / np.maximum(count - 1, 1)
    short = length < 1e-3
    safe = np.where(short, 1.0, step)
    faded = -np.expm1(-count * safe)
    end = np.where(short, 1 - length / 2, faded / (count * -np.expm1(-safe)))
    own = 1 / np.tanh(safe / 2) / count - faded / (2 * (count * np.sinh(safe / 2)) ** 2)
    own = np.where(short, 1 - length * (count + 1) / (3 * count), own)
    return _Spells(mean, total, *(v[:, :, None] for v in (np.exp(-length), np.exp(-gap), end, own)))


def _filter_spells(spells: _Spells) -> Floats:
    """What the likelihood needs of the covariance C of the spells: shape (6, taus, shares).

    With east x, north y and 1 a vector of ones: ln det C; x'x, y'y, 1'1, x'1 and y'1 with C^-1 between. A
    Kalman filter (Kalman 1960) finds them without the matrix. Its state is the wander at the end of a spell,
    which is correlated with the mean over the spell; the gain is the same for all three series.
    """
    series = np.column_stack([spells.mean - spells.mean.mean(axis=0), np.ones(len(spells.mean))])
    white = (1 - _SHARES) / spells.weight[:, None, None]
    shape = (len(_TAUS_S), len(_SHARES))
    state, variance = np.zeros((3, 1, 1)), np.broadcast_to(_SHARES, shape)
    spread = np.empty((len(series), *shape))
    surprise = np.empty((len(series), 3, *shape))
    squared = (one**2 for one in (spells.fade, spells.silence, spells.end))
    columns = (spells.fade, spells.silence, spells.end, *squared, _SHARES * spells.own)
    for k, (fade, silence, end, fade2, silence2, end2, own) in enumerate(zip(*columns, strict=True)):
        state = silence * state
        beyond = _SHARES + silence2 * (variance - _SHARES) - _SHARES
        spread[k] = own + end2 * beyond + white[k]
        surprise[k] = series[k][:, None, None] - end * state
        gain = end * (_SHARES + fade * beyond) / spread[k]
        state = fade * state + gain * surprise[k]
        variance = _SHARES + fade2 * beyond - gain**2 * spread[k]
    east, north, one = np.moveaxis(surprise / np.sqrt(spread)[:, None], 1, 0)
    pairs = ((east, east), (north, north), (one, one), (east, one), (north, one))
    return np.stack([np.log(spread).sum(axis=0), *(np.sum(a * b, axis=0) for a, b in pairs)])


def _compute_mean_variance(spells: _Spells) -> Floats:
    """Variance of the weighted mean in units of that of a single fix: shape (taus, shares)."""
    total = spells.weight.sum()
    before, wander = np.zeros((len(_TAUS_S), 1)), np.zeros((len(_TAUS_S), 1))
    for weight, fade, silence, end, own in zip(*spells[1:], strict=True):
        before = silence * before
        wander = wander + weight * (weight * own + 2 * end * before)
        before = fade * before + weight * end
    return np.asarray((_SHARES * wander / total + 1 - _SHARES) / total)


def _fit_student(odds: Floats, squares: Floats, of_mean: Floats, freedom: int) -> MeanError:
    """Student t of the mean as normals: one for each quantile of the variance that is not known."""
    freedom += _SCATTER_FREEDOM
    variance = (_SCATTER_FREEDOM * _SCATTER_M**2 + squares) * of_mean
    of_variance = 1 / chdtri(freedom, _QUANTILES)
    return MeanError(
        np.repeat(odds / len(_QUANTILES), len(_QUANTILES)), (variance[:, None] * of_variance).ravel()
    )
