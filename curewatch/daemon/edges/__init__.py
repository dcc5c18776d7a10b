"""The thin files that touch the world: serial, MQTT, replay, process. They carry raw bytes and an Instant."""
