"""Practice: what is to be played, how far it has come, what was made of it, and what is kept of that. No window."""
