"""Where on a railway something can happen: its turnouts, other trackwork, tracks and places."""

from __future__ import annotations

from dataclasses import dataclass

from inventory.track.models import Place, Railway, Track, Turnout
from inventory.trackwork.models import Trackwork


@dataclass(frozen=True)
class Spot:
    """One spot. key: "turnout-3", as forms send it; name: with its place, as people say it."""

    key: str
    place: Place
    part: Turnout | Trackwork | Track | Place

    @property
    def name(self) -> str:
        return name_of(self.part)

    @property
    def kind(self) -> str:
        return self.key.split("-")[0]


def name_of(part: Turnout | Trackwork | Track | Place) -> str:
    """What a spot is called: "Mill switch, Quessel", "somewhere in Quessel"."""
    return f"somewhere in {part}" if isinstance(part, Place) else str(part)


def key_of(part: Turnout | Trackwork | Track | Place) -> str:
    """The key of a spot; a turnout that was measured is the same spot as the turnout."""
    if isinstance(part, Trackwork) and part.turnout_id:
        return f"turnout-{part.turnout_id}"
    return f"{type(part).__name__.lower()}-{part.pk}"


def spots_of(railway: Railway) -> list[Spot]:
    """Every spot of a railway, place by place along the line; the place itself comes last."""
    turnouts, pieces, tracks = (
        list(model.objects.filter(place__railway=railway).select_related("place"))
        for model in (Turnout, Trackwork, Track)
    )
    found = []
    for place in railway.places.all():
        parts = [
            *(each for each in turnouts if each.place_id == place.pk),
            *(p for p in pieces if p.place_id == place.pk and p.turnout_id is None),
            *(each for each in tracks if each.place_id == place.pk),
            place,
        ]
        found += [Spot(key_of(part), place, part) for part in parts]
    return found
