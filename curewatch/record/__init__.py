"""The warranty record: what it says, how it is written, how anybody verifies it."""
