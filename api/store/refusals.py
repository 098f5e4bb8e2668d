"""What the doors can't do for reasons that lie in the grove as it stands, beside what was given."""

from __future__ import annotations

from gridmap.errors import InputRefused


class NotThere(InputRefused):
    """What is asked for is not in the grove; nothing was changed."""


class Conflict(InputRefused):
    """What is asked does not fit what is in the grove now; nothing was changed."""


class ChangedMeanwhile(InputRefused):
    """Somebody changed the same thing since the asker saw it; ``version`` is the present one."""

    def __init__(self, thing: str, version: int) -> None:
        super().__init__(
            f"{thing} was changed meanwhile", "an edit may not overwrite what it has not seen", "look at it again"
        )
        self.version = version


class TooLarge(InputRefused):
    """More was sent than is taken at once; nothing was read."""
