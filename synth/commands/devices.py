"""`beatfield devices`: the sound outputs for live play, the sound inputs for `listen`, and the MIDI outputs."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("--json", action="store_true", help="print the list as JSON")


def run(arguments: Namespace) -> int:
    """Print the outputs; raise DeviceError where PortAudio or every sound output is missing."""
    import sys
    from dataclasses import asdict

    from synth.errors import DeviceError
    from synth.files.plain_text import counted
    from synth.live.sound_device import DEVICE_REMEDY, list_devices
    from synth.live.sound_input import list_inputs
    from synth.report.written import print_json
    from synth.terminal import shown

    devices, inputs = list_devices(), list_inputs()
    midi_outputs, midi_fault = _midi_outputs()
    if arguments.json:
        print_json(
            {
                "schema": "beatfield.devices/1",
                "devices": [asdict(device) for device in devices],
                "inputs": [asdict(device) for device in inputs],
                "midi_outputs": midi_outputs,
                "midi_fault": midi_fault,
            }
        )
        return 0
    lines = []
    for device in devices:
        facts = f"{device.host}, {counted(device.channels, 'channel')}, {device.sample_rate:.0f} Hz"
        latency = f"low latency {1e3 * device.low_latency:.1f} ms"
        default = ", the default" if device.is_default else ""
        lines.append(f"{device.index:>3}  {device.name} ({facts}, {latency}){default}")
    for heard in inputs:
        facts = f"{heard.host}, {counted(heard.channels, 'channel')}, {heard.sample_rate:.0f} Hz"
        default = ", the default" if heard.is_default else ""
        lines.append(f"{heard.index:>3}  input {heard.name} ({facts}){default}")
    lines += [f"MIDI {name}" for name in midi_outputs] or [f"MIDI {midi_fault or 'no output'}"]
    sys.stdout.write(shown("\n".join(lines) + "\n", sys.stdout))
    if not devices:
        raise DeviceError(f"PortAudio finds no sound output. {DEVICE_REMEDY}")
    return 0


def _midi_outputs() -> tuple[list[str], str | None]:
    """Names of the MIDI outputs, and why there are none to be had."""
    from synth.errors import DeviceError
    from synth.midi.midi_out import list_midi_outputs

    try:
        return list(list_midi_outputs()), None
    except DeviceError as error:
        return [], str(error)
