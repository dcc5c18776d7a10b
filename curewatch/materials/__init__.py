"""What it is made of: resin systems, substrates, cloth, sensor parts; every number with its origin."""
