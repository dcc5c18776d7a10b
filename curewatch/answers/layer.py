"""The document of `layer`."""

from typing import Annotated

from curewatch.answers.document import Shape, says
from curewatch.answers.parts import RunningDocument


class LayerDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch layer`: every running layer."""

    running: Annotated[list[RunningDocument], says("Running layers")]
