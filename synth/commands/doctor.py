"""`beatfield doctor`: what of this machine is ready for Beatfield, and what to do about the rest."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.outputs import print_either


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument(
        "--device",
        metavar="DEVICE",
        help="sound output to try, by its index or part of its name (beatfield devices lists them)",
    )
    parser.add_argument(
        "--seconds", type=float, default=2.0, metavar="S", help="how long to run the voice, 0 to 600 s (default 2)"
    )
    parser.add_argument("--clear-cache", action="store_true", help="remove all cached hand fields, and do nothing else")
    parser.add_argument("--json", action="store_true", help="print the findings as JSON")


def run(arguments: Namespace) -> int:
    """Print the findings; exit 1 when something needs attention. Or clear the cache."""
    if arguments.clear_cache:
        return _clear_cache(arguments)
    from dataclasses import asdict

    from synth.doctor import examine
    from synth.progress_line import ProgressLine

    with ProgressLine("trying what is there"):
        findings = examine(device=arguments.device, seconds=arguments.seconds)
    healthy = all(finding.ready for finding in findings)
    document = {"schema": "beatfield.doctor/1", "ready": healthy, "findings": [asdict(item) for item in findings]}
    print_either(arguments, document, "".join(f"{finding.line()}\n" for finding in findings))
    return 0 if healthy else 1


def _clear_cache(arguments: Namespace) -> int:
    from synth.build.curve_cache import cache_folder, clear_cache
    from synth.errors import DeviceError
    from synth.files.plain_text import counted

    folder = cache_folder()
    try:
        count, size = clear_cache()
    except OSError as error:
        raise DeviceError(f"{folder}: {error.strerror}; remove the folder by hand") from error
    document = {"schema": "beatfield.doctor.cache/1", "folder": str(folder), "removed": count, "bytes": size}
    print_either(arguments, document, f"removed {counted(count, 'hand field')}, {1e-6 * size:.1f} MB, from {folder}\n")
    return 0
