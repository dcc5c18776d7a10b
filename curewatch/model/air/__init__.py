"""Air, surface and shed: the past and the coming hours."""
