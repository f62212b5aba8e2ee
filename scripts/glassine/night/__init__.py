"""The run: what is due, who works, what it may use, how it ends."""
