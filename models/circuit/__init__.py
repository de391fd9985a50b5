"""The one-transistor oscillator as a circuit: its parts, small-signal start, harmonic balance, transient."""
