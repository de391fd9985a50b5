"""The bound on the work of harmonic balance: what it counts, where it ends, and that it is gone afterwards."""

from inspect import unwrap

import pytest

from models.circuit.common_base import OscillatorCircuit
from models.circuit.oscillator import steady_state
from models.circuit.work import TooMuchWorkError, bounded_work, counted_work, spend


def test_the_bound_ends_the_step_that_needs_more_and_all_later_ones():
    with bounded_work(10.0):
        spend(10.0)
        with pytest.raises(TooMuchWorkError, match="work allowed"):
            spend(1.0)
        with pytest.raises(TooMuchWorkError):
            spend(0.0)
    spend(1e30)  # no bound any more


def test_a_bound_inside_another_does_not_add_to_it():
    with bounded_work(10.0):
        with bounded_work(1e9):
            spend(9.0)
        with pytest.raises(TooMuchWorkError):
            spend(2.0)


def test_what_is_done_is_counted_within_bounds_and_without_and_what_is_refused_is_not():
    with counted_work() as work:
        spend(3.0)
        with bounded_work(10.0):
            spend(9.0)
            with pytest.raises(TooMuchWorkError):
                spend(2.0)
    spend(5.0)
    assert work[0] == 12.0


def is_enough(work, harmonics):
    """Whether the default oscillator is solved with so many harmonics within this work."""
    try:
        with bounded_work(work):
            unwrap(steady_state)(OscillatorCircuit(), harmonics=harmonics)  # one that is not kept from another test
    except TooMuchWorkError:
        return False
    return True


def least_work(harmonics):
    """The work that the default oscillator takes with so many harmonics, within a fiftieth."""
    high = 1e4
    while not is_enough(high, harmonics):
        high *= 2.0
    low = 0.5 * high
    while high - low > 0.02 * high:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if is_enough(middle, harmonics) else (middle, high)
    return high


@pytest.mark.slow
def test_work_grows_with_the_harmonics_and_is_the_same_every_time():
    few, many = least_work(16), least_work(64)
    assert is_enough(few, 16)
    assert not is_enough(0.97 * few, 16)
    # evaluations grow with the instants, Jacobians with the square of the unknowns; a part of both is always the same
    assert 2.0 < many / few < 16.0
