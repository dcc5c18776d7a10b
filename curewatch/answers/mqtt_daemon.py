"""The document of `mqtt-daemon`."""

from typing import Annotated, Literal

from curewatch.answers.document import Shape, Utc, says


class MqttDaemonDocument(Shape, frozen=True, kw_only=True):
    """Published as PREFIX/daemon; with running false it is left with the broker as the daemon's will."""

    version: Annotated[Literal[1], says("Raised when a key changes its meaning")]
    running: Annotated[bool, says("Whether it runs")]
    since: Annotated[
        Utc | None, says("Since (ISO 8601, UTC); null in the will, which cannot know when it is read out")
    ]
