"""Which encoding a text file is in: told by its first bytes, or refused."""

import codecs
from pathlib import Path

from underdash.problems import DataError, UsageError, readable

_HEAD_BYTES = 65536
# Longest first: the mark of UTF-32 begins with that of UTF-16.
_MARKS = (
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


def encoding_of(path: Path, stated: str | None) -> tuple[str, str]:
    """(codec, how it is known). UsageError for an unknown codec or no file, DataError for a binary file.

    Without a mark, text in UTF-16 shows by the zero bytes in every other place. All else is taken for UTF-8, which
    proves itself: text in another encoding is refused at its first byte beyond ASCII that does not fit (`not_text`).
    """
    with readable(path), path.open("rb") as file:
        head = file.read(_HEAD_BYTES)
    if stated is not None:
        try:
            "".encode(stated)
        except LookupError:
            raise UsageError(f"--encoding {stated}: no such encoding; utf-8, utf-16, cp1252 and latin-1 are") from None
    for mark, codec in _MARKS:
        if head.startswith(mark):
            if stated and codecs.lookup(stated).name.split("-")[:2] != codec.split("-")[:2]:
                raise UsageError(
                    f"{path}: begins with the mark of {codec}, so it is not {stated}; leave out --encoding"
                )
            return codec, "by its mark"
    half = len(head) // 2
    even, odd = head[0::2].count(0), head[1::2].count(0)
    wide = ""
    if max(even, odd) * 2 > half and min(even, odd) * 20 < max(even, odd):
        wide = "utf-16-le" if odd > even else "utf-16-be"
    if stated:
        vague = codecs.lookup(stated).name == "utf-16" and wide
        return (wide, "as stated, without a mark") if vague else (stated, "as stated")
    if wide:
        return wide, "by its zero bytes, without a mark"
    if even or odd:
        raise DataError(f"{path}: is a binary file, not text; export the log as CSV text")
    return "utf-8", "every byte must fit"


def not_text(path: Path, encoding: str) -> DataError:
    """What to say once the file would not decode: the line and the first byte that does not fit."""
    data = path.read_bytes()
    try:
        data.decode(encoding)
    except UnicodeDecodeError as problem:
        start = len(data) - len(problem.object) + problem.start  # a mark is not counted
        before = data[:start].decode(encoding).replace("\r\n", "\n").replace("\r", "\n")
        name = encoding.upper().removesuffix("-SIG")
        return DataError(
            f"{path}, line {before.count(chr(10)) + 1}: byte 0x{data[start]:02X} is no {name} text; name the "
            "encoding with --encoding (mostly cp1252 or latin-1 from programs of western Europe)"
        )
    return DataError(f"{path}: changed while it was read; try again")
