"""Sound that comes in: its pitch against time, the places where it rests, and what the sound card hears live."""
