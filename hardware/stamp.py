"""A mark in a PNG that says from what it was made: a text chunk with a SHA-256."""

import hashlib
import zlib
from collections.abc import Iterable
from pathlib import Path

KEYWORD = "Made-From"
_SIGNATURE = b"\x89PNG\r\n\x1a\n"


def digest(files: Iterable[Path]) -> str:
    """SHA-256 over names and contents, line ends as on Unix."""
    total = hashlib.sha256()
    for file in sorted(files, key=lambda path: path.name):
        total.update(file.name.encode() + b"\0" + file.read_bytes().replace(b"\r\n", b"\n") + b"\0")
    return total.hexdigest()


def stamped(png: bytes, words: str) -> bytes:
    """The picture with the mark behind its head."""
    head = len(_SIGNATURE) + 25  # IHDR is always 13 bytes, with 12 around it
    body = b"tEXt" + KEYWORD.encode() + b"\0" + words.encode()
    chunk = (len(body) - 4).to_bytes(4, "big") + body + zlib.crc32(body).to_bytes(4, "big")
    return png[:head] + chunk + png[head:]


def read(png: bytes) -> str:
    """The mark of a picture, "" if it has none."""
    at = len(_SIGNATURE)
    while png.startswith(_SIGNATURE) and at + 8 <= len(png):
        length = int.from_bytes(png[at : at + 4], "big")
        kind, body = png[at + 4 : at + 8], png[at + 8 : at + 8 + length]
        if kind == b"tEXt" and body.startswith(KEYWORD.encode() + b"\0"):
            return body.partition(b"\0")[2].decode()
        at += length + 12
    return ""
