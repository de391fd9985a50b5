"""Why an oscillator does not start, in words: what is in its way, with figures and the remedy."""

from __future__ import annotations

from models.circuit.small_signal import DoesNotStartError, Obstacle, SmallSignal


def explained(error: BaseException) -> str:
    """The message of `error`, with the whole reason where it says that an oscillator does not start."""
    text, source = str(error), error
    while not isinstance(source, DoesNotStartError):
        if source.__cause__ is None:
            return text
        source = source.__cause__
    return text.replace(str(source), f"the oscillator does not start: {_reason(source.signal)}")


def _reason(signal: SmallSignal) -> str:
    point, shares = signal.point, [*signal.loss_shares.items()]
    present = f"the transconductance is {signal.transconductance * 1e6:.4g} uS and "
    largest = f"the {shares[0][0]}, {shares[0][1]:.0%} of the power" if shares else ""
    match signal.obstacle:
        case Obstacle.SATURATED:
            return (
                f"the bias saturates the transistor (base {point.base_voltage:.2f} V, collector "
                f"{point.collector_voltage:.2f} V): lower the base voltage or raise the supply"
            )
        case Obstacle.CUT_OFF:
            return (
                f"the bias leaves the transistor without current (base {point.base_voltage:.2f} V): "
                "raise the base voltage or the supply"
            )
        case Obstacle.SHORTED_FEEDBACK if signal.highest_transconductance is not None:
            return (
                f"{present}more than {signal.highest_transconductance * 1e6:.4g} uS "
                "shorts the feedback at the emitter: lower the emitter current (larger emitter resistor) or "
                "raise the emitter capacitor and the feedback capacitor"
            )
        case Obstacle.TOO_LITTLE_TRANSCONDUCTANCE if signal.critical_transconductance is not None:
            return (
                f"{present}{signal.critical_transconductance * 1e6:.4g} uS is needed; "
                f"the largest loss is {largest.replace(', ', ' (')}): lower that loss, "
                "raise the emitter current or the feedback capacitor"
            )
        case _:
            worst = f" (largest: {largest})" if largest else ""
            return (
                f"no transconductance overcomes the losses{worst}: lower that loss, or raise the feedback capacitor "
                "and the emitter capacitor"
            )
