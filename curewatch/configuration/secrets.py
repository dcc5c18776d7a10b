"""Passwords: from a file of their own or from the environment, never from the configuration."""

import os
import stat
from collections.abc import Mapping

from curewatch.configuration.shape import MqttSource
from curewatch.errors import ConfigurationError

VARIABLE = "CUREWATCH_MQTT_PASSWORD"


def password(name: str, source: MqttSource, environment: Mapping[str, str] = os.environ) -> str | None:
    """The password of one broker; none when the broker asks for none.

    ``CUREWATCH_MQTT_PASSWORD_NAME`` (the source's name in capitals) goes before the common variable.

    Raises
    ------
    ConfigurationError
        The password file cannot be read, is empty, or everybody on the machine can read it.
    """
    if source.password_file is None:
        own = f"{VARIABLE}_{name.upper().replace('-', '_')}"
        return environment.get(own) or environment.get(VARIABLE)
    file, key = source.password_file, f"mqtt.{name}.password_file"
    try:
        mode = file.stat().st_mode
        first = file.read_text(encoding="utf-8").partition("\n")[0].strip("\r")
    except (OSError, UnicodeDecodeError) as trouble:
        raise ConfigurationError(
            str(trouble), "a readable file with the password on its first line", key=key
        ) from trouble
    if mode & (stat.S_IROTH | stat.S_IWOTH):
        raise ConfigurationError(
            f"{file} readable by everybody on this machine", f"chmod 600 {file}", key=key
        )
    if not first:
        raise ConfigurationError(f"{file} empty", "the password on its first line", key=key)
    return first
