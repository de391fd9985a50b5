"""MIDI in and out."""
