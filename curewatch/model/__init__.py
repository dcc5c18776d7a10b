"""State through time: film, pot, laminate, blush, bond window, shed and outlook. No clock, no wire."""
