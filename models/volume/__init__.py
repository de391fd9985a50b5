"""The volume side: from the capacitance of the ring to loudness."""
