"""What heats itself: pots and laminates."""
