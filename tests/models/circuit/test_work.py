"""The bound on the work of harmonic balance: what it counts, where it ends, and that it is gone afterwards."""

import pytest

from models.circuit.common_base import OscillatorCircuit
from models.circuit.oscillator import steady_state
from models.circuit.work import TooMuchWorkError, bounded_work, spend


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


def least_work(harmonics):
    """The work that the default oscillator takes with so many harmonics, within a hundredth."""
    low, high = 0.0, 1e9
    while high - low > 0.01 * high:
        middle = 0.5 * (low + high)
        try:
            with bounded_work(middle):
                steady_state(OscillatorCircuit(), harmonics=harmonics)
            high = middle
        except TooMuchWorkError:
            low = middle
    return high


def test_work_grows_with_the_harmonics_and_is_the_same_every_time():
    few, many = least_work(16), least_work(64)
    assert least_work(16) == few
    # evaluations grow with the instants, Jacobians with the square of the unknowns
    assert 4.0 < many / few < 16.0
