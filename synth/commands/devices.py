"""`beatfield devices`: the sound outputs that live play can use."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("--json", action="store_true", help="print the list as JSON")


def run(arguments: Namespace) -> int:
    """Print the outputs; raise DeviceError where PortAudio or every device is missing."""
    from dataclasses import asdict

    from synth.errors import DeviceError
    from synth.live.sound_device import DEVICE_REMEDY
    from synth.report.output import print_json
    from synth.speaker import list_devices

    devices = list_devices()
    if arguments.json:
        print_json({"schema": "beatfield.devices/1", "devices": [asdict(device) for device in devices]})
        return 0
    if not devices:
        raise DeviceError(f"PortAudio finds no sound output. {DEVICE_REMEDY}")
    for device in devices:
        facts = f"{device.host}, {device.channels} channels, {device.sample_rate:.0f} Hz"
        latency = f"low latency {1e3 * device.low_latency:.1f} ms"
        print(f"{device.index:>3}  {device.name} ({facts}, {latency}){', the default' if device.is_default else ''}")
    return 0
