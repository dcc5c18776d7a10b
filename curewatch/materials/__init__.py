"""What it is made of: resin systems, substrates, cloth and sensor parts, as TOML with the origin of every number."""
