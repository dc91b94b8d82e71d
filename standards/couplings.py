"""Two neighbours coupled on a curve and through a reverse curve: coupler swing and buffers.

One length unit throughout (millimetres in the project), angles in radians. The vehicles lie as in
`standards.curves`: axles on the track's centre line, pivots in the middle of their bogies, no
play. All of it is seen from above. Derived, no published source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from standards.curves import Body, ImpossibleGeometry, smallest_by_pivots, throw_at

Reals = NDArray[np.float64]
# Points and directions, as x + iy.
Points = NDArray[np.complex128]

#: A flat buffer head is drawn with this radius: over a head 30 mm wide it is flat to 12 nm.
_NEARLY_FLAT = 1e7

# The scan along a reverse curve: so many places, then so many about each of the worst, each time
# between the two next to it.
_PLACES = 97
_PLACES_CLOSER = 9
_ROUNDS = 5

_CLOSE_ENOUGH = 1e-9
_MOST_STEPS = 25


@dataclass(frozen=True)
class Buffers:
    """The two buffers at the end of a vehicle.

    spacing: between the middles of the heads; reach: from the middle of the body to the foremost
    point of a head; head_width: of one head; head_radius: to which the head's face is domed, seen
    from above, math.inf for a flat one; travel: how far a buffer gives way.

    Raises ImpossibleGeometry for dimensions that no buffer has.
    """

    spacing: float
    reach: float
    head_width: float
    head_radius: float = math.inf
    travel: float = 0.0

    def __post_init__(self) -> None:
        for name, length in (
            ("spacing", self.spacing),
            ("reach", self.reach),
            ("head width", self.head_width),
        ):
            if not 0 < length < math.inf:
                raise ImpossibleGeometry(
                    f"A buffer {name} of {length:g} cannot be; type more than zero."
                )
        if self.head_width >= self.spacing:
            raise ImpossibleGeometry(
                f"Buffer heads {self.head_width:g} wide do not stand {self.spacing:g} apart."
            )
        if not self.head_radius >= self.head_width / 2:
            raise ImpossibleGeometry(
                f"A buffer head {self.head_width:g} wide cannot be domed to a radius of "
                f"{self.head_radius:g}; it takes half its width at least."
            )
        if not 0 <= self.travel < math.inf:
            raise ImpossibleGeometry(f"A buffer travel of {self.travel:g} cannot be.")


@dataclass(frozen=True)
class CarEnd:
    """The end of a vehicle that is turned to its neighbour.

    coupler_pivot: from the middle of the body to the point about which the coupler swings, or to
    the hook; coupler_length: from there to the face of the coupler, or to the middle of the link
    between two hooks. Both ends of the body are taken to be alike.

    Raises ImpossibleGeometry for a pivot at the middle or a coupler of no length.
    """

    body: Body
    coupler_pivot: float
    coupler_length: float
    buffers: Buffers | None = None

    def __post_init__(self) -> None:
        if not 0 < self.coupler_pivot < math.inf:
            raise ImpossibleGeometry(
                f"A coupler {self.coupler_pivot:g} from the middle of the body cannot be; measure "
                "from the middle to where the coupler swings."
            )
        if not 0 < self.coupler_length < math.inf:
            raise ImpossibleGeometry(
                f"A coupler {self.coupler_length:g} long cannot be; measure from where it swings "
                "to its face."
            )


@dataclass(frozen=True)
class Coupled:
    """How two coupled neighbours stand on one curve.

    swing_first, swing_second: angle between each coupler and its own body, above zero towards the
    inside of the curve. throw_first, throw_second: how far the coupler's pivot lies outside the
    track's centre line. offset: how far apart, across the track, the two faces would be if both
    couplers stayed straight in line with their bodies; above zero where the first's lies farther
    out. It is what a coupler that does not swing pushes aside.
    buffer_gap: between the heads of the pair of buffers that is nearer, on a curve the inner one;
    below zero they press by so much, both together. buffer_overlap: how much of their width faces
    each other, of the pair that has less; at or below zero they can slip behind each other. None
    where either end has no buffers.
    """

    swing_first: float
    swing_second: float
    throw_first: float
    throw_second: float
    offset: float
    buffer_gap: float | None = None
    buffer_overlap: float | None = None


@dataclass(frozen=True)
class Extreme:
    """The worst amount along the way, and where the coupling is then: from the middle of the
    straight between the curves, along the track, above zero towards the second curve."""

    amount: float
    at: float


@dataclass(frozen=True)
class Passage:
    """The worst along a reverse curve; sizes without a sign, as in `Coupled`.

    offset, swing_first, swing_second: the greatest. buffer_gap, buffer_overlap: the least.
    """

    offset: Extreme
    swing_first: Extreme
    swing_second: Extreme
    buffer_gap: Extreme | None = None
    buffer_overlap: Extreme | None = None

    @property
    def buffers_lock(self) -> bool:
        """Whether buffer heads come off each other sideways, so that one can get behind."""
        return self.buffer_overlap is not None and self.buffer_overlap.amount <= 0


# --- How two bodies lie to each other ---------------------------------------------------------


@dataclass(frozen=True)
class _Pose:
    """Where bodies lie: their middles, and unit vectors along them in the direction of travel."""

    middle: Points
    axis: Points


@dataclass(frozen=True)
class _Meeting:
    """`Coupled` for many positions at once, with what is left of the track above zero."""

    swing_first: Reals
    swing_second: Reals
    offset: Reals
    coupling: Points
    buffer_gap: Reals | None
    buffer_overlap: Reals | None


def _angle(points: Points) -> Reals:
    return np.asarray(np.angle(points), dtype=np.float64)


def _meeting(first: CarEnd, leading: _Pose, second: CarEnd, trailing: _Pose) -> _Meeting:
    """What lies between a leading body and the one that follows it."""
    ahead = leading.middle - leading.axis * first.coupler_pivot
    behind = trailing.middle + trailing.axis * second.coupler_pivot
    link = ahead - behind
    along = leading.axis + trailing.axis
    along = along / np.abs(along)
    between_faces = link - leading.axis * first.coupler_length
    between_faces -= trailing.axis * second.coupler_length
    gap = overlap = None
    if first.buffers is not None and second.buffers is not None:
        gap, overlap = _buffers(first.buffers, leading, second.buffers, trailing, along)
    return _Meeting(
        # The leading body's coupler points backwards, so that it swings left as the link turns
        # right of the body.
        swing_first=-_angle(link / leading.axis),
        swing_second=_angle(link / trailing.axis),
        offset=np.imag(between_faces * np.conj(along)),
        coupling=(ahead + behind) / 2,
        buffer_gap=gap,
        buffer_overlap=overlap,
    )


def _buffers(
    first: Buffers, leading: _Pose, second: Buffers, trailing: _Pose, along: Points
) -> tuple[Reals, Reals]:
    """The lesser gap and the lesser overlap of the two pairs of buffer heads."""
    gaps, overlaps = [], []
    for side in (1j, -1j):
        one = leading.middle + leading.axis * (side * first.spacing / 2 - first.reach)
        other = trailing.middle + trailing.axis * (side * second.spacing / 2 + second.reach)
        gaps.append(_heads_apart(first, one, -leading.axis, second, other, trailing.axis))
        sideways = np.abs(np.imag((one - other) * np.conj(along)))
        overlaps.append((first.head_width + second.head_width) / 2 - sideways)
    return np.minimum(*gaps), np.minimum(*overlaps)


def _heads_apart(
    first: Buffers,
    one: Points,
    one_faces: Points,
    second: Buffers,
    other: Points,
    other_faces: Points,
) -> Reals:
    """Distance between two buffer heads, arcs as wide as the heads; below zero by how much they
    would lie in each other.

    Dome on dome where the line through the middles of both domes goes through both heads; else
    the edge of one head on the dome of the other; else edge to edge.
    """
    heads = []
    for buffers, foremost, faces in ((first, one, one_faces), (second, other, other_faces)):
        radius = min(buffers.head_radius, _NEARLY_FLAT)
        half_angle = math.asin(buffers.head_width / 2 / radius)
        middle = foremost - faces * radius
        edges = [middle + faces * radius * np.exp(1j * turn) for turn in (half_angle, -half_angle)]
        heads.append((radius, half_angle, middle, faces, edges))
    (radius, half, middle, faces, edges), (radius_2, half_2, middle_2, faces_2, edges_2) = heads

    def within(point: Points, centre: Points, facing: Points, limit: float) -> NDArray[np.bool_]:
        return np.abs(_angle((point - centre) / facing)) <= limit

    apart = np.abs(edges[0] - edges_2[0])
    for edge in edges:
        for edge_2 in edges_2:
            apart = np.minimum(apart, np.abs(edge - edge_2))
    for edge in edges:
        on_dome = np.abs(edge - middle_2) - radius_2
        apart = np.where(
            within(edge, middle_2, faces_2, half_2), np.minimum(apart, on_dome), apart
        )
    for edge in edges_2:
        on_dome = np.abs(edge - middle) - radius
        apart = np.where(within(edge, middle, faces, half), np.minimum(apart, on_dome), apart)
    on_both = within(middle_2, middle, faces, half) & within(middle, middle_2, faces_2, half_2)
    dome_on_dome = np.abs(middle_2 - middle) - radius - radius_2
    return np.where(on_both, dome_on_dome, apart)


# --- On one curve -----------------------------------------------------------------------------


def _place_on_curves(radii: Reals, first: CarEnd, second: CarEnd) -> tuple[_Pose, _Pose]:
    """Both bodies on curves to the left about the origin, the pivots of their couplers as far
    apart as the two couplers are long; nan where one of them does not go there.

    The pivots lie on circles of their own, r = sqrt(h^2 + k^2); between them the angle is
    2 asin(sqrt((c^2 - (r1 - r2)^2) / (4 r1 r2))).
    """
    between = first.coupler_length + second.coupler_length
    heights = []
    for end in (first, second):
        square = radii**2 - end.body.pivot_distance**2 / 4 - end.body.bogie_wheelbase**2 / 4
        heights.append(np.sqrt(np.where(square > 0, square, math.nan)))
    of_first = np.hypot(heights[0], first.coupler_pivot)
    of_second = np.hypot(heights[1], second.coupler_pivot)
    part = (between**2 - (of_first - of_second) ** 2) / (4 * of_first * of_second)
    turned = 2 * np.arcsin(np.sqrt(np.where((part >= 0) & (part <= 1), part, math.nan)))
    turned += np.arctan2(first.coupler_pivot, heights[0])
    turned += np.arctan2(second.coupler_pivot, heights[1])
    return _pose_at(heights[0], turned), _pose_at(heights[1], np.zeros_like(radii))


def _pose_at(heights: Reals, turned: Reals) -> _Pose:
    """Bodies that far from the origin, having gone that angle about it to the left."""
    direction = np.asarray(np.cos(turned) + 1j * np.sin(turned), dtype=np.complex128)
    return _Pose(np.asarray(direction * heights, dtype=np.complex128), direction * 1j)


def _place_on_straight(first: CarEnd, second: CarEnd) -> tuple[_Pose, _Pose]:
    ahead = first.coupler_pivot + first.coupler_length
    ahead += second.coupler_length + second.coupler_pivot
    forward = np.array([1 + 0j])
    return _Pose(forward * complex(ahead), forward), _Pose(forward * 0j, forward)


def on_curve(radius: float, first: CarEnd, second: CarEnd) -> Coupled:
    """How two coupled neighbours stand on a curve of that radius; math.inf for straight track.

    Exact: both bodies are set on the curve so that the pivots of their couplers are as far apart
    as the two couplers are long. For two cars alike each coupler swings by
    atan(k/h) + asin(c/(2r)), with r = sqrt(h^2 + k^2), k to the pivot and c between the pivots.

    Raises ImpossibleGeometry when a vehicle is too long for the radius, or the couplers too short
    to reach across.
    """
    throws = [0.0, 0.0]
    if radius == math.inf:
        leading, trailing = _place_on_straight(first, second)
    else:
        throws = [throw_at(radius, end.body, end.coupler_pivot) for end in (first, second)]
        leading, trailing = _place_on_curves(np.array([radius]), first, second)
        if np.isnan(leading.axis[0]):
            between = first.coupler_length + second.coupler_length
            raise ImpossibleGeometry(
                f"On a radius of {radius:g} the pivots of the two couplers are "
                f"{abs(throws[0] - throws[1]):.3g} apart across the track, and the couplers only "
                f"{between:g} long together."
            )
    found = _meeting(first, leading, second, trailing)
    return Coupled(
        swing_first=float(found.swing_first[0]),
        swing_second=float(found.swing_second[0]),
        throw_first=throws[0],
        throw_second=throws[1],
        # The curve bends to the left, so that what lies farther left lies farther in.
        offset=0.0 - float(found.offset[0]),
        buffer_gap=None if found.buffer_gap is None else float(found.buffer_gap[0]),
        buffer_overlap=None if found.buffer_overlap is None else float(found.buffer_overlap[0]),
    )


def smallest_by_swing(end: CarEnd, swing: float) -> float:
    """Radius at which the coupler between two cars alike swings by that angle, in radians.

    The middle of the link stands square to the radius: h = k/tan(s) + l/sin(s), with k to the
    coupler's pivot and l its length, and R = sqrt(h^2 + a^2/4 + p^2/4).
    Raises ImpossibleGeometry for an angle that is not between 0 and 90 degrees.
    """
    if not 0 < swing < math.pi / 2:
        raise ImpossibleGeometry("A coupler swings by more than 0 and less than 90 degrees.")
    height = end.coupler_pivot / math.tan(swing) + end.coupler_length / math.sin(swing)
    return math.hypot(height, end.body.pivot_distance / 2, end.body.bogie_wheelbase / 2)


def smallest_by_buffers(first: CarEnd, second: CarEnd) -> float | None:
    """Radius below which the inner buffers of two coupled neighbours have no travel left.

    Without travel that is where they touch; and where they come off each other sideways before
    that, it is where they do so. math.inf where they touch on straight track already; None where
    they stay clear on every curve that the two go round, with couplers at less than a right angle.
    Looked for from wide curves to sharp ones, then closed in on to a millionth.

    Raises ImpossibleGeometry where either end has no buffers.
    """
    if first.buffers is None or second.buffers is None:
        raise ImpossibleGeometry("Without buffers on both vehicles none can touch.")
    give = first.buffers.travel + second.buffers.travel
    on_straight = on_curve(math.inf, first, second)
    if on_straight.buffer_gap is None or on_straight.buffer_gap + give <= 0:
        return math.inf

    def clear_at(curvatures: Reals) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Where nothing touches, and where the pair goes round at all."""
        poses = _place_on_curves(1 / curvatures, first, second)
        with np.errstate(invalid="ignore"):  # where the pair does not go round, all is nan
            met = _meeting(first, poses[0], second, poses[1])
        goes = np.maximum(np.abs(met.swing_first), np.abs(met.swing_second)) < math.pi / 2
        if met.buffer_gap is None or met.buffer_overlap is None:
            return np.zeros_like(goes), goes
        clear = (met.buffer_gap + give > 0) & (met.buffer_overlap > 0) & goes
        clear[-1] = False  # where the search ends at the latest
        return clear, goes

    # Far sharper than where they touch the drawing turns over and heads come clear again, so it is
    # the first place that counts, from wide to sharp.
    sharpest = 1 / max(smallest_by_pivots(end.body) for end in (first, second))
    curvatures = np.geomspace(sharpest / 1e5, sharpest, 65)
    clear, goes = clear_at(curvatures)
    for _ in range(5):
        touching = int(np.argmin(clear))
        before = curvatures[touching - 1] if touching else 0.0
        curvatures = np.linspace(before, curvatures[touching], 33)[1:]
        clear, goes = clear_at(curvatures)
    touching = int(np.argmin(clear))
    # What stopped the search may have been the bodies or couplers and not the buffers.
    return float(1 / curvatures[touching]) if goes[touching] else None


# --- Through a reverse curve ------------------------------------------------------------------


@dataclass(frozen=True)
class _ReverseCurve:
    """A curve to the right, a straight about the origin along x, and a curve to the left.

    Positions are lengths along the centre line from the middle of the straight.
    """

    first_curvature: float
    second_curvature: float
    straight: float

    def at(self, position: Reals) -> tuple[Points, Points]:
        """Points on the centre line, and its direction there.

        From the end of the straight it is a chord away, at half the angle that was turned.
        """
        half = self.straight / 2
        on_straight = np.minimum(np.maximum(position, -half), half)
        beyond = position - on_straight
        curvature = np.where(beyond > 0, self.second_curvature, self.first_curvature)
        turn = curvature * np.abs(beyond) / 2
        by_chord = np.exp(1j * turn)
        shorter = np.ones_like(turn)
        np.divide(by_chord.imag, turn, out=shorter, where=turn > 0)
        return on_straight + beyond * shorter * by_chord, by_chord**2

    def position_of(self, points: Points) -> Reals:
        """How far along the track the nearest point of the centre line is."""
        half = self.straight / 2
        x, y = np.real(points), np.imag(points)
        ahead, back = x - half, -x - half
        on_second, on_first = ahead, back
        if self.second_curvature:
            k = self.second_curvature
            on_second = np.arctan2(k * ahead, 1 - k * y) / k
        if self.first_curvature:
            k = self.first_curvature
            on_first = np.arctan2(k * back, 1 + k * y) / k
        return np.where(ahead > 0, half + on_second, np.where(back > 0, -half - on_first, x))


@dataclass(frozen=True)
class _Links:
    """What of a coupled pair is rigid, as distances that have to be kept.

    Every one of them is |sum of weight x axle| = length, over the axles from the foremost to the
    last: between the axles of a bogie, between the pivots of a body (a pivot is half way between
    its axles), and between the pivots of the couplers, which lie on the line through the pivots
    of their body.

    pivots: a row for each of the four pivots; links: a row for each distance; lengths: theirs;
    lags: how far behind the foremost axle each axle is on straight track.
    """

    pivots: Reals
    links: Reals
    lengths: Reals
    lags: Reals

    @classmethod
    def of(cls, first: CarEnd, second: CarEnd) -> _Links:
        between = first.coupler_length + second.coupler_length
        middles = _front(first) + first.coupler_pivot + between + second.coupler_pivot
        lags: list[float] = []
        bogies: list[list[int]] = []
        for end, middle in ((first, _front(first)), (second, middles)):
            for pivot in (-end.body.pivot_distance / 2, end.body.pivot_distance / 2):
                wheelbase = end.body.bogie_wheelbase
                own = [-wheelbase / 2, wheelbase / 2] if wheelbase else [0.0]
                bogies.append(list(range(len(lags), len(lags) + len(own))))
                lags += [middle + pivot + axle for axle in own]
        pivots = np.zeros((4, len(lags)))
        for row, axles in zip(pivots, bogies, strict=True):
            row[axles] = 1 / len(axles)
        links, lengths = [], []
        for axles, end in zip(bogies, (first, first, second, second), strict=True):
            if len(axles) == 2:
                links.append(np.eye(len(lags))[axles[0]] - np.eye(len(lags))[axles[1]])
                lengths.append(end.body.bogie_wheelbase)
        links += [pivots[0] - pivots[1], pivots[2] - pivots[3]]
        lengths += [first.body.pivot_distance, second.body.pivot_distance]
        out, out_2 = (end.coupler_pivot / end.body.pivot_distance for end in (first, second))
        hung = pivots[0] * (0.5 - out) + pivots[1] * (0.5 + out)
        links.append(hung - pivots[2] * (0.5 + out_2) - pivots[3] * (0.5 - out_2))
        lengths.append(between)
        return cls(pivots, np.array(links), np.array(lengths), np.array(lags))

    def place(self, track: _ReverseCurve, position: Reals) -> tuple[_Pose, _Pose]:
        """Both bodies, with the foremost axle at each of the positions, by Newton's method.

        Raises ImpossibleGeometry where the distances cannot all be kept.
        """
        axles = position - self.lags[:, np.newaxis]
        lengths = self.lengths[:, np.newaxis]
        for _ in range(_MOST_STEPS):
            points, directions = track.at(axles)
            spans = self.links @ points
            wrong = (spans.real**2 + spans.imag**2 - lengths**2) / (2 * lengths)
            if not np.max(np.abs(wrong)) > _CLOSE_ENOUGH:
                break
            toward = np.conj(spans) / lengths
            slopes = (toward[:, np.newaxis] * directions).real * self.links[:, :, np.newaxis]
            # The foremost axle stays; solved for all the others, at every position.
            try:
                steps = np.linalg.solve(slopes[:, 1:].transpose(2, 0, 1), wrong.T[:, :, None])
            except np.linalg.LinAlgError:
                steps = np.full((len(position), len(self.lags) - 1, 1), math.nan)
            axles[1:] -= steps[:, :, 0].T
        if not np.max(np.abs(wrong)) <= 1e-6:
            raise ImpossibleGeometry(
                f"Somewhere on the reverse curve two couplers {self.lengths[-1]:g} long together "
                "do not reach from one vehicle to the other; couple the two farther apart."
            )
        pivots = self.pivots @ points
        axes = pivots[[0, 2]] - pivots[[1, 3]]
        axes /= np.abs(axes)
        middles = (pivots[[0, 2]] + pivots[[1, 3]]) / 2
        return _Pose(middles[0], axes[0]), _Pose(middles[1], axes[1])


def _front(end: CarEnd) -> float:
    """From the middle of the body to its foremost axle."""
    return (end.body.pivot_distance + end.body.bogie_wheelbase) / 2


def through_reverse_curve(
    first_radius: float, second_radius: float, straight: float, first: CarEnd, second: CarEnd
) -> Passage:
    """The worst of two coupled neighbours on the way from one curve into the opposite one.

    first: the vehicle that leads; second: the one that follows. straight: between the curves, 0
    for none; each curve is longer than the pair, and either radius may be math.inf for straight
    track. Both vehicles are set on the track, exactly, at 97 places from both being on the first
    curve to both being on the second, then ever closer about the worst of each kind.

    Raises ImpossibleGeometry when a vehicle is too long for a radius, the straight is shorter than
    none, or the couplers too short to reach.
    """
    if not 0 <= straight < math.inf:
        raise ImpossibleGeometry(
            f"A straight of {straight:g} between the curves cannot be; type 0 for none."
        )
    for radius in (first_radius, second_radius):
        on_curve(radius, first, second)
    track = _ReverseCurve(1 / first_radius, 1 / second_radius, straight)
    links = _Links.of(first, second)
    length = _front(first) + first.coupler_pivot + first.coupler_length
    length += _front(second) + second.coupler_pivot + second.coupler_length
    # Beyond these nothing changes any more; a tenth more, since chords are shorter than arcs.
    places, step = _places(straight, 1.1 * length)

    def met_at(positions: Reals) -> _Meeting:
        leading, trailing = links.place(track, positions)
        return _meeting(first, leading, second, trailing)

    found = _severity(met_at(places))
    worst = places[np.argmax(found, axis=1)]
    for _ in range(_ROUNDS):
        nearby = np.linspace(-step, step, _PLACES_CLOSER)
        closer = worst[:, np.newaxis] + nearby
        met = met_at(closer.ravel())
        # Of each kind only its own neighbourhood counts.
        found = _severity(met).reshape(len(worst), len(worst), _PLACES_CLOSER)
        own = found[np.arange(len(worst)), np.arange(len(worst))]
        best = np.argmax(own, axis=1)
        worst = closer[np.arange(len(worst)), best]
        step = nearby[1] - nearby[0]
    coupling = met.coupling.reshape(closer.shape)[np.arange(len(worst)), best]
    amounts = own[np.arange(len(worst)), best] * _SIGNS[: len(worst)]
    where = track.position_of(coupling)
    return Passage(
        *(Extreme(float(amount), float(at)) for amount, at in zip(amounts, where, strict=True))
    )


# The order of the fields of `Passage`; of the last two the least is the worst.
_SIGNS = np.array([1.0, 1.0, 1.0, -1.0, -1.0])


def _severity(met: _Meeting) -> Reals:
    """How bad it is everywhere, a row for each field of `Passage` that can be told."""
    rows = [np.abs(met.offset), np.abs(met.swing_first), np.abs(met.swing_second)]
    if met.buffer_gap is not None and met.buffer_overlap is not None:
        rows += [-met.buffer_gap, -met.buffer_overlap]
    return np.array(rows)


def _places(straight: float, length: float) -> tuple[Reals, float]:
    """Where to set the foremost axle at first, and how far apart that is at most."""
    half = straight / 2
    if straight <= length:
        places = np.linspace(-half, half + length, _PLACES)
        return places, float(places[1] - places[0])
    # In the middle of a long straight the pair stands on straight track only.
    at_each = np.linspace(0, length, _PLACES // 2 + 1)
    return np.concatenate([at_each - half, at_each + half]), float(at_each[1])
