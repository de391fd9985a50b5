"""Tour 6: one oscillator as a circuit, part by part: does it start, where does it land, what does it deliver?

The small-signal analysis says whether it starts, harmonic balance where it settles. The frequency differs from the
plain resonance of coil and capacitors by the transistor's own capacitances and the loading. The fine-tune pot moves it.
"""

from models.circuit.common_base import OscillatorCircuit
from models.circuit.oscillator import pot_sweep, steady_state
from models.circuit.small_signal import small_signal
from models.tank import resonant_frequency


def main() -> None:
    """Print the readings of the default circuit."""
    circuit = OscillatorCircuit()
    start, state = small_signal(circuit), steady_state(circuit)
    plain = float(resonant_frequency(circuit.inductance, circuit.tank_capacitance))
    print(f"coil and capacitors alone    {plain / 1e3:.3f} kHz")
    print(f"start margin                 {start.margin_db:.1f} dB")
    print(f"steady state                 {state.frequency / 1e3:.3f} kHz ({state.harmonics} harmonics)")
    print(f"tank amplitude               {state.tank_amplitude:.2f} V peak, THD {100 * state.thd:.2f} %")
    print(f"output into its load         {state.output_peak_to_peak:.2f} V peak to peak")
    print(f"supply                       {1e6 * state.supply_current:.0f} uA")
    positions, states = pot_sweep(circuit, (0.0, 0.25, 0.5, 0.75, 1.0))
    for position, turned in zip(positions, states, strict=True):
        print(f"  pot at {position:4.2f}: {turned.frequency - state.frequency:+8.1f} Hz")


if __name__ == "__main__":
    main()
