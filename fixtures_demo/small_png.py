"""Make a screenshot small: a palette of its 256 commonest colours, packed as tightly as zlib can.

A page has few colours besides the shades at the edges of its letters, so nothing that can be seen
is lost. Reads what browsers write: 8 bits a channel, RGB or RGBA, not interlaced.
"""

import struct
import zlib
from collections import Counter
from collections.abc import Iterator

SIGNATURE = b"\x89PNG\r\n\x1a\n"
CHANNELS = {2: 3, 6: 4}
Colour = tuple[int, int, int]


def smaller(png: bytes) -> bytes:
    """The same picture with a palette of at most 256 colours."""
    width, height, rows = _read(png)
    counts: Counter[Colour] = Counter()
    for row in rows:
        counts.update(row)
    palette = [colour for colour, _ in counts.most_common(256)]
    nearest = {colour: _nearest(colour, palette) for colour in counts}
    pixels = b"".join(b"\0" + bytes(nearest[colour] for colour in row) for row in rows)
    header = struct.pack(">IIBBBBB", width, height, 8, 3, 0, 0, 0)
    return SIGNATURE + b"".join(
        _chunk(kind, body)
        for kind, body in (
            (b"IHDR", header),
            (b"PLTE", b"".join(bytes(colour) for colour in palette)),
            (b"IDAT", zlib.compress(pixels, 9)),
            (b"IEND", b""),
        )
    )


def _nearest(colour: Colour, palette: list[Colour]) -> int:
    def distance(place: int) -> int:
        return sum((a - b) ** 2 for a, b in zip(colour, palette[place], strict=True))

    return min(range(len(palette)), key=distance)


def _read(png: bytes) -> tuple[int, int, list[list[Colour]]]:
    chunks = dict[bytes, bytes]()
    for kind, body in _chunks(png):
        chunks[kind] = chunks.get(kind, b"") + body
    width, height, depth, colour, _, _, interlaced = struct.unpack(">IIBBBBB", chunks[b"IHDR"])
    if depth != 8 or colour not in CHANNELS or interlaced:
        raise ValueError("not a PNG as browsers write it")
    step = CHANNELS[colour]
    lines = _lines(zlib.decompress(chunks[b"IDAT"]), width * step, step)
    return width, height, [list(zip(*(line[c::step] for c in range(3)), strict=True))
                           for line in lines]  # fmt: skip


def _lines(data: bytes, length: int, step: int) -> Iterator[bytearray]:
    """Each line with its filter undone (PNG specification, section 9)."""
    above = bytearray(length)
    for start in range(0, len(data), length + 1):
        kind, line = data[start], bytearray(data[start + 1 : start + 1 + length])
        for at in range(length) if kind else ():
            left = line[at - step] if at >= step else 0
            corner = above[at - step] if at >= step else 0
            line[at] = (line[at] + _predicted(kind, left, above[at], corner)) & 255
        yield line
        above = line


def _predicted(kind: int, left: int, up: int, corner: int) -> int:
    if kind == 4:
        guess = left + up - corner
        return min((left, up, corner), key=lambda each: abs(guess - each))
    return (0, left, up, (left + up) // 2)[kind]


def _chunks(png: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = len(SIGNATURE)
    while at < len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        yield png[at + 4 : at + 8], png[at + 8 : at + 8 + length]
        at += 12 + length


def _chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
