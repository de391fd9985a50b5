"""The window with a note of every hand event that reaches the audio process's ring; run by tests/live.

    python timed_window.py DESIGN REPORT

opens the design as `beatfield play` does, with a reader of its own on the ring of hand events in shared memory. While
it runs the audio process's number stands in REPORT.pid; whenever that changes REPORT (JSON) holds the time stamps of
the events up to then.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from synth.build.workbench import open_design
from synth.live.link import LiveLink
from synth.live.speaker import Speaker
from synth.window.play_window import run_session
from synth.window.session import session_of

LATENCY = 0.040  # s


def main() -> None:
    design, report = Path(sys.argv[1]), Path(sys.argv[2])
    workpiece = open_design(design)
    session = session_of([workpiece])
    events: list[float] = []
    told: list[Any] = [None]
    with Speaker(session.instrument, latency=LATENCY) as speaker:
        link = LiveLink.attach(speaker.memory_name)
        link.hand.begin_at_newest()

        def look(_: Any) -> None:
            while (event := link.hand.take()) is not None:
                events.append(event.time)
            number = speaker.process_id
            if number != told[0]:
                told[0] = number
                report.write_text(json.dumps({"events": events}))
                report.with_suffix(".pid").write_text(str(number))

        run_session(
            session, speaker, workpiece.design.name, record_folder=report.parent, caution=False, each_frame=look
        )
        link.close()


if __name__ == "__main__":
    main()
