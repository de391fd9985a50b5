"""The volume hand: scene of the ring, its field, the resonance and the gain law."""
