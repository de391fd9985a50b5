"""Electrostatics of conductors: triangle meshes and the boundary-element capacitance matrix."""
