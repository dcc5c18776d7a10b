"""What would turn a no-go."""
