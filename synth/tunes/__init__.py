"""Melodies: what they are made of, how they are read, and what a pitch field cannot reach of them."""
