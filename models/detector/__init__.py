"""Detectors: memoryless kinds, and the diode with its RC."""
