"""Checks of parameters: one clear ValueError naming the parameter, its domain and what was given."""

from __future__ import annotations

import math
from collections.abc import Sequence
from numbers import Real
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats


def finite(name: str, value: Any) -> float:
    """Return `value` as a float; raise ValueError unless it is a finite real number (booleans refused)."""
    if type(value) is float and math.isfinite(value):  # nearly always, and quickly told
        return value
    try:
        number = math.nan if isinstance(value, bool | np.bool_) or not isinstance(value, Real) else float(value)
    except OverflowError:
        raise ValueError(f"{name} must be a finite number; got one too large for a float") from None
    if not math.isfinite(number):
        raise ValueError(f"{name} must be a finite number; got {value!r}")
    return number


def positive(name: str, value: Any) -> float:
    """Return `value` as a float; raise ValueError unless it is finite and > 0."""
    number = finite(name, value)
    if number <= 0.0:
        raise ValueError(f"{name} must be > 0; got {number:g}")
    return number


def non_negative(name: str, value: Any) -> float:
    """Return `value` as a float; raise ValueError unless it is finite and >= 0."""
    number = finite(name, value)
    if number < 0.0:
        raise ValueError(f"{name} must be >= 0; got {number:g}")
    return number


def fraction(name: str, value: Any) -> float:
    """Return `value` as a float; raise ValueError unless it lies in 0..1."""
    number = finite(name, value)
    if not 0.0 <= number <= 1.0:
        raise ValueError(f"{name} must be between 0 and 1; got {number:g}")
    return number


def whole(name: str, value: Any, least: int) -> int:
    """Return `value` as an int; raise ValueError unless it is a whole number >= `least` (booleans refused)."""
    if isinstance(value, bool | np.bool_) or not isinstance(value, int | np.integer) or value < least:
        raise ValueError(f"{name} must be a whole number >= {least}; got {value!r}")
    return int(value)


def one_of(name: str, value: Any, choices: Sequence[str]) -> str:
    """Return `value`; raise ValueError unless it is one of `choices`."""
    if not isinstance(value, str) or value not in choices:
        raise ValueError(f"{name} must be one of {', '.join(choices)}; got {value!r}")
    return str(value)


def finite_array(name: str, values: ArrayLike) -> Floats:
    """Return `values` as a float64 array; raise ValueError where an element is not a finite real number."""
    single: Any = values
    if isinstance(single, float) and math.isfinite(single):
        return np.array(single)
    try:
        array = np.asarray(values)
    except ValueError:
        raise ValueError(f"{name} must be numbers in rows of one length; got {values!r}") from None
    if array.dtype.kind not in "iuf" or _holds_boolean(values):
        raise ValueError(f"{name} must be numbers; got {values!r}")
    array = array.astype(np.float64)
    if not np.isfinite(array).all():
        raise ValueError(f"{name} must be finite; got {array[~np.isfinite(array)].flat[0]:g}")
    return array


def _holds_boolean(values: Any) -> bool:
    """Whether a list, however nested, has a boolean among its numbers (which numpy would turn into 0 or 1)."""
    if isinstance(values, list | tuple):
        return any(_holds_boolean(value) for value in values)
    return isinstance(values, bool | np.bool_) or (isinstance(values, np.ndarray) and values.dtype.kind == "b")


def positive_array(name: str, values: ArrayLike) -> Floats:
    """Return `values` as a float64 array; raise ValueError where an element is not finite and > 0."""
    array = finite_array(name, values)
    if not (array > 0.0).all():
        raise ValueError(f"{name} must be > 0; got {array[~(array > 0.0)].flat[0]:g}")
    return array


def non_negative_array(name: str, values: ArrayLike) -> Floats:
    """Return `values` as a float64 array; raise ValueError where an element is not finite and >= 0."""
    array = finite_array(name, values)
    if not (array >= 0.0).all():
        raise ValueError(f"{name} must be >= 0; got {array[~(array >= 0.0)].flat[0]:g}")
    return array
