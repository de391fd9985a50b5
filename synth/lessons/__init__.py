"""Lessons in heterodyning by ear: what to hear, what to see, and the lines that must be in the sound."""
