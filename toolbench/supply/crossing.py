"""Where a rising function crosses zero, for whole arrays at once: every element has its own bracket and none waits on another."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from toolbench.records.runs import Floats

_MOST_STEPS = 200
"""Bisection alone needs 60; the jump of friction where flow turns turbulent costs a few more."""
_LEAST = 1e-300


def find_crossing(miss: Callable[[Floats], Floats], highest: Floats, *, good: float = 1e-13) -> Floats:
    """Where `miss`, which rises from −1 at zero, crosses zero on the way to `highest`, elementwise.

    Parameters
    ----------
    miss : of an array of the broadcast shape; −1 at zero, zero or more at `highest`
    highest : end of the bracket, above zero
    good : a `miss` no larger than this counts as zero

    Returns
    -------
    Floats
        Where `miss` is as small as `good`, or within four units in the last place of the crossing where it jumps there.

    Raises
    ------
    ArithmeticError
        No end after 200 steps: `miss` is nan somewhere.

    References
    ----------
    Chandrupatla, Adv. Eng. Softw. 28 (1997) 145: inverse quadratic interpolation where it is sure to help, else bisection.
    """
    f1 = miss(highest)
    f2 = np.full(np.shape(f1), -1.0)
    x1, x2 = np.broadcast_to(highest, np.shape(f1)), np.zeros(np.shape(f1))
    step = f1 / (f1 - f2)
    found, open_ = x1, f1 > good
    for _ in range(_MOST_STEPS):
        if not np.any(open_):
            return found
        x = x1 + step * (x2 - x1)
        f = miss(x)
        same = (f > 0) == (f1 > 0)
        x3, f3 = np.where(same, x1, x2), np.where(same, f1, f2)
        x2, f2 = np.where(same, x2, x1), np.where(same, f2, f1)
        x1, f1 = x, f
        nearer = np.abs(f1) < np.abs(f2)
        best, miss_left = np.where(nearer, x1, x2), np.where(nearer, np.abs(f1), np.abs(f2))
        width = 4 * np.finfo(float).eps * best / np.maximum(np.abs(x2 - x1), _LEAST)
        found = np.where(open_, best, found)
        open_ = open_ & (width < 0.5) & (miss_left > good)
        step = np.clip(_interpolated(x1, x2, x3, f1, f2, f3), width, 1 - width)
    raise ArithmeticError("no crossing found: the function is not a number somewhere")


def _interpolated(x1: Floats, x2: Floats, x3: Floats, f1: Floats, f2: Floats, f3: Floats) -> Floats:
    """Share of the way from x1 to x2 to look at next."""
    with np.errstate(divide="ignore", invalid="ignore"):
        xi, phi = (x1 - x2) / (x3 - x2), (f1 - f2) / (f3 - f2)
        sure = (phi**2 < xi) & ((1 - phi) ** 2 < 1 - xi)
        between = f1 / (f2 - f1) * f3 / (f2 - f3) + (x3 - x1) / (x2 - x1) * f1 / (f3 - f1) * f2 / (f3 - f2)
    return np.where(sure, between, 0.5)
