"""Learning a resin from its maker's sheet and from what was observed."""
