"""The ways from one place to many as one stored row."""

import zlib
from collections.abc import Mapping

import numpy as np

from transport.calc.places import Place
from transport.calc.road_base import NoRoad, RoadAnswer, RoadWay

Key = tuple[int, int]
"""Latitude and longitude in millionths of a degree, 0.1 m."""

_WHY = (None, NoRoad.UNREACHABLE, NoRoad.NOT_NEAR)
_SHARE = 255.0
_ROW = np.dtype(
    [("to", "<i4", 2), ("km", "<f4"), ("minutes", "<f4"), ("shares", "u1", 4), ("why", "u1")]
)


def key_of(place: Place) -> Key:
    """Places that agree to 0.1 m are one place."""
    return round(place.latitude * 1e6), round(place.longitude * 1e6)


def place_at(key: Key) -> Place:
    """The place of a key."""
    return Place(key[0] / 1e6, key[1] / 1e6)


def packed(ways: Mapping[Key, RoadAnswer]) -> bytes:
    """About 20 bytes a way, compressed; km and minutes to 7 digits, shares to 0.4 %."""
    rows = np.zeros(len(ways), dtype=_ROW)
    for at, (key, way) in enumerate(ways.items()):
        rows["to"][at] = key
        if isinstance(way, RoadWay):
            rows["km"][at], rows["minutes"][at] = way.km, way.minutes
            rows["shares"][at] = [round(share * _SHARE) for share in way.shares]
        else:
            rows["why"][at] = _WHY.index(way)
    return zlib.compress(rows.tobytes())


def unpacked(stored: bytes) -> dict[Key, RoadAnswer]:
    """Read back what ``packed`` wrote; raises ValueError if it is something else."""
    try:
        rows = np.frombuffer(zlib.decompress(stored), dtype=_ROW)
    except zlib.error as error:
        raise ValueError("this is no stored row of roads") from error
    shares = (rows["shares"] / _SHARE).tolist()
    return {
        (to[0], to[1]): _WHY[why] or RoadWay(km, minutes, *parts)
        for to, km, minutes, parts, why in zip(
            rows["to"].tolist(),
            rows["km"].tolist(),
            rows["minutes"].tolist(),
            shares,
            rows["why"].tolist(),
            strict=True,
        )
    }
