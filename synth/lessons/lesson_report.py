"""A lesson as script, data and files, from one set of figures: the claims and what the rendered sound shows."""

from __future__ import annotations

from pathlib import Path
from textwrap import fill
from typing import Any

from models.arrays import Floats
from models.quick_dataclass import dataclass
from synth.errors import DesignError
from synth.files.atomic_file import make_folder, write_text
from synth.lessons.measure import measured
from synth.lessons.passage import SAMPLE_RATE
from synth.lessons.stage import Lesson
from synth.lessons.words import said
from synth.progress_line import ProgressLine
from synth.sound.audio_file import AudioWriter

SCHEMA = "beatfield.lesson/1"


@dataclass(frozen=True, slots=True, eq=False)
class LessonReport:
    """A lesson, the finished sound of each stage, and per stage and claim the level measured in it, dB.

    `gains`: how many times its recipes' own level each stage plays.
    """

    lesson: Lesson
    sounds: tuple[Floats, ...]
    levels: tuple[tuple[float, ...], ...]
    gains: tuple[float, ...]

    def text(self) -> str:
        """The script for a class."""
        lesson = self.lesson
        lines = [
            lesson.title,
            "=" * len(lesson.title),
            "",
            fill(lesson.introduction, 100),
            "",
            fill(said("caution"), 100),
            "",
        ]
        for index, (stage, levels) in enumerate(zip(lesson.stages, self.levels, strict=True)):
            lines += [f"{index + 1}. {stage.title}   ({lesson.stem(index)}.wav, {lesson.stem(index)}.png)", ""]
            for told in (
                said("script", "predict", question=stage.question),
                said("script", "answer", answer=stage.answer),
                stage.text,
            ):
                lines += [fill(told, 100), ""]
            lines.append(f"   {said('script', 'claims')}")
            lines += [
                f"   - {said('script', 'measured', claim=claim.text, level=level)}"
                for claim, level in zip(stage.claims, levels, strict=True)
            ]
            lines.append("")
        for found in lesson.experiments:
            lines += [said("script", "experiment", title=found.title), ""]
            lines += [fill(said("script", "needs", things=found.bring), 100), ""]
            lines += [fill(f"- {step}", 100, subsequent_indent="  ") for step in found.steps]
            lines += [
                "",
                fill(said("script", "expected", figures=found.expected), 100),
                "",
                fill(found.caution, 100),
                "",
            ]
        return "\n".join(lines)

    def document(self) -> dict[str, Any]:
        """The same as data."""
        return {
            "schema": SCHEMA,
            "name": self.lesson.name,
            "title": self.lesson.title,
            "introduction": self.lesson.introduction,
            "caution": said("caution"),
            "stages": [self._stage(index) for index in range(len(self.sounds))],
            "experiments": [
                {
                    "title": found.title,
                    "bring": found.bring,
                    "steps": list(found.steps),
                    "expected": found.expected,
                    "caution": found.caution,
                }
                for found in self.lesson.experiments
            ],
        }

    def _stage(self, index: int) -> dict[str, Any]:
        stage = self.lesson.stages[index]
        claims = [
            {
                "kind": claim.kind,
                "start_s": claim.start,
                "end_s": claim.end,
                "frequency_hz": claim.frequency,
                "level_db": claim.level_db,
                "measured_db": level,
            }
            for claim, level in zip(stage.claims, self.levels[index], strict=True)
        ]
        return {
            "file": self.lesson.stem(index),
            "title": stage.title,
            "question": stage.question,
            "answer": stage.answer,
            "text": stage.text,
            "minutes": stage.minutes,
            "claims": claims,
        }


def lesson_report(lesson: Lesson) -> LessonReport:
    """Render every stage and measure its claims."""
    with ProgressLine("rendering the lesson") as line:
        heard = [(*stage.levelled(), stage) for stage in line.each(lesson.stages)]
    sounds, gains, _ = zip(*heard, strict=True)
    levels = tuple(measured(stage.claims, sound) for sound, _, stage in heard)
    return LessonReport(lesson, sounds, levels, gains)


def check_folder(lesson: Lesson, folder_name: str, force: bool) -> None:
    """Raise DesignError where `write_lesson` would: the folder is a file, or holds files of the lesson and not `force`.

    For before the lesson is measured.
    """
    folder = Path(folder_name)
    if folder.exists() and not folder.is_dir():
        raise DesignError(f"{folder_name} is a file; name a folder")
    there = [str(name) for name in _files(lesson, folder) if name.exists()]
    if there and not force:
        raise DesignError("\n".join(f"{name} exists already; add --force to replace it" for name in there))


def _files(lesson: Lesson, folder: Path) -> list[Path]:
    """The files of a lesson in a folder: the script, then a sound and a plot for each stage."""
    stems = [lesson.stem(index) for index in range(len(lesson.stages))]
    return [folder / "lesson.txt", *(folder / f"{stem}{end}" for stem in stems for end in (".wav", ".png"))]


def write_lesson(report: LessonReport, folder_name: str, force: bool) -> None:
    """Write script, sounds and plots into a folder, once `check_folder` has found nothing against it."""
    from synth.lessons.lesson_plot import save_stage_plot

    lesson = report.lesson
    check_folder(lesson, folder_name, force)
    script, *files = _files(lesson, make_folder(folder_name))
    write_text(script, report.text(), force)
    with ProgressLine("drawing the stages") as line:
        stages = list(zip(lesson.stages, report.sounds, files[::2], files[1::2], strict=True))
        for stage, sound, wave, plot in line.each(stages):
            with AudioWriter(wave, SAMPLE_RATE, title=stage.title, force=force) as writer:
                writer.write(sound)
            save_stage_plot(stage, sound, plot, force)
