"""Set Beatfield up in a fresh clone: `python3 demos/set_up.py` installs into .venv and renders the demo;
with --tests it installs the test extras and runs the tests instead.

Needs nothing but Python 3.11 or newer. Running it again mends an interrupted install. This file keeps to
syntax that older Pythons can read, so that they get a clear refusal and not a syntax error.
"""

import os
import subprocess
import sys

OLDEST = (3, 11)
ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
VENV = os.path.join(ROOT, ".venv")
VENV_PYTHON = os.path.join(VENV, "Scripts" if os.name == "nt" else "bin", "python.exe" if os.name == "nt" else "python")


def works(command):
    """True where the command can be started and exits with 0; its output is dropped."""
    try:
        return subprocess.call(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=ROOT) == 0
    except OSError:
        return False


def say(text):
    print("set-up: " + text, flush=True)


def make_environment():
    """Create .venv, without pip where this Python carries no pip for it."""
    say("creating .venv")
    if works([sys.executable, "-m", "venv", "--clear", VENV]):
        return
    if not works([sys.executable, "-m", "venv", "--clear", "--without-pip", VENV]):
        sys.exit(
            "set-up: this Python cannot create a virtual environment in " + VENV + ".\n"
            "Check that the folder is writable and the disk not full; on Debian and Ubuntu: "
            "apt install python3-venv python3-pip, then run this command again."
        )


def pip_command():
    """The pip that installs into .venv: its own, else this Python's pip pointed at it."""
    if works([VENV_PYTHON, "-m", "pip", "--version"]):
        return [VENV_PYTHON, "-m", "pip"]
    outside = [sys.executable, "-m", "pip", "--python", VENV_PYTHON]
    if works([*outside, "--version"]):
        return outside
    sys.exit(
        "set-up: no pip found. On Debian and Ubuntu: apt install python3-venv python3-pip, then run this command again."
    )


def install(target):
    """Install the project (editable) into .venv; once more from a clean .venv where the first try fails."""
    fresh = not works([VENV_PYTHON, "-c", "import sys; sys.exit(sys.version_info[:2] < (%d, %d))" % OLDEST])
    if fresh:
        make_environment()
    for attempt in (1, 2):
        say("installing into .venv (a minute or so the first time)")
        status = subprocess.call([*pip_command(), "install", "--quiet", "--editable", target], cwd=ROOT)
        if status == 0 and works([VENV_PYTHON, "-c", "import numpy, scipy, soundfile, pygame, matplotlib, synth"]):
            # as pip does for what it copies: a command need then not compile its modules when it begins
            works([VENV_PYTHON, "-m", "compileall", "-q", "models", "synth"])
            return
        if fresh or attempt == 2:
            break
        say("the existing .venv does not install cleanly: starting it anew")
        make_environment()
        fresh = True
    sys.exit(
        "set-up: the installation failed; pip's message above says why. With no network, or behind a "
        "proxy, set pip up first; then run this command again."
    )


def run_tests(options):
    """Run pytest with `options`; without any the quick tests, two computing and one mostly waiting for real sound."""
    return subprocess.call([VENV_PYTHON, "-m", "pytest", *(options or ["-n", "3"])], cwd=ROOT)


def main(arguments):
    if sys.version_info[:2] < OLDEST:
        sys.exit(
            "set-up: Beatfield needs Python %d.%d or newer; this is %d.%d (%s). Run this file with a newer "
            "Python." % (OLDEST + tuple(sys.version_info[:2]) + (sys.executable,))
        )
    tests = arguments[:1] == ["--tests"]
    if arguments and not tests:
        sys.exit("set-up: usage: python3 demos/set_up.py [--tests [PYTEST OPTIONS]]")
    install(".[test]" if tests else ".")
    if tests:
        return run_tests(arguments[1:])
    return subprocess.call([VENV_PYTHON, "-m", "synth", "demo"], cwd=ROOT)


if __name__ == "__main__":
    try:
        sys.exit(main(sys.argv[1:]))
    except KeyboardInterrupt:
        sys.exit(130)
