"""State through time: film, pot, laminate, blush, recoat window, shed and outlook. No clock, no wire."""
