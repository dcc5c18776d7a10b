"""The cure record: what it says, how it is written, how anybody verifies it."""
