"""Write a lesson into a folder: its script, and a sound and a plot for each stage."""

from __future__ import annotations

from synth.errors import DesignError
from synth.files.atomic_file import make_folder, write_text
from synth.lessons.lesson_plot import save_stage_plot
from synth.lessons.lesson_report import LessonReport
from synth.lessons.stage import SAMPLE_RATE
from synth.sound.audio_file import AudioWriter


def write_lesson(report: LessonReport, folder_name: str, force: bool) -> None:
    """Write every file; before the first, DesignError if one exists and `force` is not set."""
    folder = make_folder(folder_name)
    stems = [folder / report.stem(index) for index in range(len(report.sounds))]
    names = [folder / "lesson.txt", *(stem.with_suffix(end) for stem in stems for end in (".wav", ".png"))]
    there = [str(name) for name in names if name.exists()]
    if there and not force:
        raise DesignError(f"{', '.join(there)}: exists; add --force to replace")
    write_text(folder / "lesson.txt", report.text(), force)
    for stage, sound, stem in zip(report.lesson.stages, report.sounds, stems, strict=True):
        with AudioWriter(stem.with_suffix(".wav"), SAMPLE_RATE, title=stage.title, force=force) as writer:
            writer.write(sound)
        save_stage_plot(stage, sound, stem.with_suffix(".png"), force)
