"""State through time: film, pot, laminate, surface, blush, bond window, shed and outlook. No clock, no wire."""
