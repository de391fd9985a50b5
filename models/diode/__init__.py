"""The diode detector with its RC."""
