"""Tour 5: detectors. The same beat through three kinds of them: which overtones does each give?

Levels in dB against the fundamental. A balanced mixer gives a pure tone; an envelope detector all harmonics, fewer
where one signal is weaker (here 0.6 of the other); a diode junction the more of them the harder it is driven.
"""

import numpy as np

from models.detector.memoryless import Detector

DETECTORS = (
    ("product", Detector("product")),
    ("envelope, equal", Detector("envelope", amplitude_ratio=1.0)),
    ("envelope, 0.6", Detector("envelope", amplitude_ratio=0.6)),
    ("junction, 1.5", Detector("junction", amplitude_ratio=0.6, drive=1.5)),
    ("junction, 6", Detector("junction", amplitude_ratio=0.6, drive=6.0)),
)
HARMONICS = 6


def main() -> None:
    """Print the harmonics of each detector."""
    print(f"{'detector':<18}" + "".join(f"{order:>8}" for order in range(1, HARMONICS + 1)))
    for name, detector in DETECTORS:
        sizes = np.abs(detector.harmonics(HARMONICS)[1:])
        cells = [f"{20.0 * np.log10(size / sizes[0]):8.1f}" if size else f"{'-':>8}" for size in sizes]
        print(f"{name:<18}" + "".join(cells))


if __name__ == "__main__":
    main()
