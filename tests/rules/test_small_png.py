"""Pictures packed with a palette show the same pixels."""

import struct
import zlib

import pytest

from fixtures_demo.small_png import SIGNATURE, smaller

ROWS = [
    [(251, 245, 234), (33, 27, 22), (10, 74, 148), (251, 245, 234)],
    [(33, 27, 22), (33, 27, 22), (143, 54, 0), (0, 255, 1)],
    [(10, 74, 148), (251, 245, 234), (143, 54, 0), (9, 8, 7)],
]


def chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def guess(filtered: int, left: int, up: int, corner: int) -> int:
    if filtered == 4:
        estimate = left + up - corner
        distances = [abs(estimate - each) for each in (left, up, corner)]
        return (left, up, corner)[distances.index(min(distances))]
    return {0: 0, 1: left, 2: up, 3: (left + up) // 2}[filtered]


def screenshot(filtered: int) -> bytes:
    """An RGB picture whose lines all use one filter of the PNG specification."""
    data, above = b"", bytes(12)
    for row in ROWS:
        line = bytes(value for pixel in row for value in pixel)
        data += bytes([filtered]) + bytes(
            (line[at] - guess(filtered, line[at - 3] if at > 2 else 0, above[at],
                              above[at - 3] if at > 2 else 0)) % 256
            for at in range(12)
        )  # fmt: skip
        above = line
    header = struct.pack(">IIBBBBB", 4, 3, 8, 2, 0, 0, 0)
    return SIGNATURE + b"".join(
        chunk(*each) for each in ((b"IHDR", header), (b"IDAT", zlib.compress(data)), (b"IEND", b""))
    )


def shown(png: bytes) -> list[list[tuple[int, ...]]]:
    """The pixels of a picture with a palette, read by hand."""
    chunks, at = {}, len(SIGNATURE)
    while at < len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        chunks[png[at + 4 : at + 8]] = png[at + 8 : at + 8 + length]
        at += 12 + length
    palette = [tuple(chunks[b"PLTE"][each : each + 3]) for each in range(0, 999, 3)]
    lines = zlib.decompress(chunks[b"IDAT"])
    return [[palette[place] for place in lines[row * 5 + 1 : row * 5 + 5]] for row in range(3)]


@pytest.mark.parametrize("filtered", range(5))
def test_every_filter_of_a_screenshot_is_read(filtered: int) -> None:
    assert shown(smaller(screenshot(filtered))) == ROWS
