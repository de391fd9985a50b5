"""Tour 7: a gesture into a sound file. Four notes, placed by the pitch field, played by a moving hand.

    python demos/tour_7_gesture.py [FOLDER]

The hand path is built from the distances at which the design sounds each note; the voice renders it, and a
Fourier transform of the held stretches says what sounded. Writes into FOLDER, by default a temporary one.
"""

import sys
import tempfile
from pathlib import Path

import numpy as np

from models.pitch import cents, frequency_of_note, parse_note
from synth.build.workbench import open_design
from synth.hands.hand_path import HandPath
from synth.sound.audio_file import AudioWriter
from synth.sound.offline import rendered_blocks

NOTES = ("C4", "E4", "G4", "C5")
HOLD, REACH, RATE = 0.8, 0.2, 48_000  # s, s, Hz


def sounded(samples: np.ndarray) -> float:
    """Frequency of the strongest partial, Hz: Hann window and a parabola through the peak's logarithms."""
    levels = np.log(np.abs(np.fft.rfft(samples * np.hanning(samples.size))) + 1e-12)
    peak = int(np.argmax(levels))
    left, middle, right = levels[peak - 1 : peak + 2]
    return float(peak + 0.5 * (left - right) / (left - 2.0 * middle + right)) * RATE / samples.size


def main(folder: Path) -> None:
    """Render the notes, print what was wanted and what sounded."""
    workpiece = open_design(Path(__file__).parent / "meadow.toml")
    wanted = [float(frequency_of_note(parse_note(name))) for name in NOTES]
    places = [float(workpiece.field.distance_at(frequency)) for frequency in wanted]
    starts = np.arange(len(NOTES)) * (HOLD + REACH)
    times = np.ravel(np.column_stack([starts, starts + HOLD]))
    path = HandPath(times, np.repeat(places, 2), np.full(times.size, 0.8))
    with AudioWriter(folder / "four_notes.wav", RATE, title="Four notes", force=True) as writer:
        blocks = list(rendered_blocks(workpiece, path, RATE))
        for block in blocks:
            writer.write(block)
    samples = np.concatenate(blocks)
    for name, place, frequency, start in zip(NOTES, places, wanted, starts, strict=True):
        held = samples[round((start + 0.1) * RATE) : round((start + HOLD) * RATE)]
        off = float(cents(sounded(held), frequency))
        print(f"{name}: hand at {100 * place:.2f} cm, {frequency:.2f} Hz wanted, {off:+.2f} cents off")
    print(f"wrote {writer.path.name}: {writer.frames / RATE:.2f} s, peak {writer.peak:.3f}")


if __name__ == "__main__":
    if len(sys.argv) > 1:
        main(Path(sys.argv[1]))
    else:
        with tempfile.TemporaryDirectory() as temporary:
            main(Path(temporary))
