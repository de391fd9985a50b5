"""Values of a parametrised test that are tried with the slow ones: the same law at more places."""

from __future__ import annotations

from typing import Any

import pytest


def slow_ones(*values: Any) -> list[Any]:
    """Each value, or tuple of values, as a parameter that is marked slow."""
    return [
        pytest.param(*(value if isinstance(value, tuple) else (value,)), marks=pytest.mark.slow) for value in values
    ]
