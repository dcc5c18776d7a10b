"""What rings, and when it is over."""
