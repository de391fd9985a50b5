"""The comparisons: each name is a module of this package, in the order of a full run."""

SECTIONS = {
    "voice": "the voice against the radio rate and one np.sin",
    "field": "boundary elements against finite elements at equal accuracy (needs scikit-fem)",
    "oscillator": "harmonic balance against integration in time",
    "builds": "random builds at once against a plain loop",
    "growth": "cost against size, with fitted exponents",
    "memory": "memory at its highest",
}
