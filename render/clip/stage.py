"""What is being done for a clip, told to whoever listens to this logger; usually nobody does."""

import logging

LOGGER = logging.getLogger("dropkiln.stage")


def stage(clip: str, what: str) -> None:
    """Tell of a clip by its name what begins now, in two or three words."""
    LOGGER.info("%s\t%s", clip, what)
