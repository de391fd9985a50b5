"""What a voice is made of: pitch law, beat phase, band-limited tables, filters and fades, rendered block by block."""
