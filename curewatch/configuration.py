"""One commented TOML: the shed, its sensors and their roles, the sources, the resin, the limits."""
