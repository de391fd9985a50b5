"""From a design to its volume antenna: the scene of the ring, and the chain from hand to gain with its trimmer set."""

from __future__ import annotations

from dataclasses import replace

from models.hand.capacitance_curve import CapacitanceCurve
from models.hand.scene import Scene
from models.tank import Tank
from models.volume.loudness import GainStage, PeakRectifier
from models.volume.scene import LoopAntenna, VolumeScene
from models.volume.volume_antenna import VolumeAntenna
from synth.build.volume_notices import trimmer_notice, volume_notices
from synth.designs.sections import Design
from synth.errors import DesignError


def volume_scene_of(design: Design, scene: Scene) -> VolumeScene | None:
    """What the ring's capacitance depends on, beside the rod's `scene`; None for a design without a volume antenna.

    Raises DesignError where the ring's sizes do not fit together.
    """
    part = design.volume_antenna
    if part is None:
        return None
    try:
        return VolumeScene(scene, LoopAntenna(part.diameter, part.tube_diameter, part.height, part.offset))
    except ValueError as error:
        raise DesignError(f"{design.name}: the volume antenna does not fit: {error}") from error


def assemble_volume(design: Design, tank: Tank, curve: CapacitanceCurve) -> tuple[VolumeAntenna, tuple[str, ...]]:
    """The volume antenna of `design` with its oscillator's `tank` and the ring's `curve`, and what to know of it.

    With volume_response.full_height the trimmer is set for full volume at that height; where that cannot be, it stays
    as given and a notice says why. Raises DesignError for a design without a volume antenna.
    """
    antenna, response = design.volume_antenna, design.volume_response
    if antenna is None or response is None:
        raise DesignError(f"{design.name}: has no volume antenna; add [volume_antenna], [volume] and [volume_response]")
    volume = VolumeAntenna(
        curve=curve,
        tank=tank,
        resonator=Tank(response.inductance, response.capacitance, quality_factor=response.quality_factor),
        rectifier=PeakRectifier(
            response.amplitude, response.diode_drop, response.detector_resistance, response.detector_capacitance
        ),
        stage=GainStage(response.threshold, response.full),
        ring_stray=antenna.stray,
    )
    if response.full_height is None:
        return volume, volume_notices(volume)
    needed, least, most = volume.trimmer_for_full_at(response.full_height), tank.trimmer_minimum, tank.trimmer_maximum
    if needed is None or not least <= needed <= most or least == most:
        why = trimmer_notice(volume, needed, response.full_height)
        return volume, (why, *(text for text in volume_notices(volume) if text != why))
    tuned = replace(volume, tank=tank.with_trimmer((needed - least) / (most - least)))
    return tuned, volume_notices(tuned)
