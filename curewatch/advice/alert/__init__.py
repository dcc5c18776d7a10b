"""What is raised, and when it is cleared."""
