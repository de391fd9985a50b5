"""The hand near the antenna: scene, the player's body, apparatus, solution and capacitance curve."""
