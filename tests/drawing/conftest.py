"""Reads a drawing back as a reader of the page would: its name, its words, its labels' boxes."""

from dataclasses import dataclass
from itertools import combinations
from xml.etree import ElementTree

import pytest

SVG = "{http://www.w3.org/2000/svg}"
EM = 0.6


@dataclass(frozen=True)
class Label:
    words: str
    left: float
    right: float
    top: float
    bottom: float

    def overlaps(self, other: "Label") -> bool:
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


class Drawing:
    def __init__(self, markup):
        assert "style=" not in markup
        assert "<script" not in markup
        self.markup = str(markup)
        self.root = ElementTree.fromstring(self.markup)
        assert self.root.tag == SVG + "svg"

    @property
    def title(self):
        return self.root.find(SVG + "title").text

    @property
    def size(self):
        _, _, width, height = map(float, self.root.get("viewBox").split())
        return width, height

    @property
    def labels(self):
        return [self._label(text) for text in self.root.iter(SVG + "text")]

    @property
    def words(self):
        return [label.words for label in self.labels]

    def classes(self):
        return {name for node in self.root.iter() for name in (node.get("class") or "").split()}

    def having(self, class_):
        return [n for n in self.root.iter() if class_ in (n.get("class") or "").split()]

    def overlapping_labels(self):
        return [
            (one.words, other.words)
            for one, other in combinations(self.labels, 2)
            if one.overlaps(other)
        ]

    def labels_outside(self):
        width, height = self.size
        return [
            label
            for label in self.labels
            if label.left < -0.5
            or label.right > width + 0.5
            or label.top < -0.5
            or label.bottom > height + 0.5
        ]

    @staticmethod
    def _label(text):
        size, x, y = (float(text.get(name)) for name in ("font-size", "x", "y"))
        assert size >= 12
        width = EM * size * len(text.text or "")
        left = x - {"start": 0, "middle": width / 2, "end": width}[text.get("text-anchor")]
        return Label(text.text or "", left, left + width, y - 0.75 * size, y + 0.22 * size)


@pytest.fixture(scope="session")
def read():
    """Parses a drawing and checks what holds for every one of them."""

    def read_drawing(markup):
        drawing = Drawing(markup)
        assert drawing.root.get("role") == "img"
        assert drawing.title
        # One name only, or it is read out twice.
        assert drawing.root.get("aria-label") is None
        assert "d-drawing" in drawing.root.get("class")
        return drawing

    return read_drawing
