"""What every picture of where the jaws go has in common."""

from collections.abc import Callable
from dataclasses import dataclass

from django.utils.safestring import SafeString

WIDTH, HEIGHT = 340.0, 176.0
CAPTION_LINE = 169.0
MIDDLE = WIDTH / 2


@dataclass(frozen=True)
class Guide:
    """How one quantity is taken: its name, the words under the picture, and the drawing."""

    name: str
    caption: str
    draw: Callable[[], SafeString]
