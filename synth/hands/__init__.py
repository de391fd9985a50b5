"""Hand paths on their way in: recorded traces and generated gestures."""
