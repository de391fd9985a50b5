"""Everything between the physics and the person: design files, voice, speaker, window, reports, commands."""
