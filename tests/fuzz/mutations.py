"""Inputs that are nearly right: valid samples, cut, doubled, bent, and put into archives."""

import gzip

import zstandard
from hypothesis import strategies as st

# What parsers trip over: ends of ranges, signs, marks, encodings.
ODD = [
    b"", b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"\r", b"\n\n\n", b'"', b"'", b",", b";", b"\t", b"=",
    b"nan", b"inf", b"-inf", b"1e308", b"1e-400", b"-1", b"99999999999999999999", b"9" * 400,
    b"2026-02-30T25:61:61Z", b"0001-01-01", b"9999-12-31T23:59:59.999999Z", b"<", b"&amp;", b"]]>",
    b"$", b"*", b"!", b"#", b"(", b")", b"[", b"]", b"{", b"}", b"\\", b"%s", b"../../x", b"://",
    "\N{DEGREE SIGN}\N{MICRO SIGN}\N{COMBINING DIAERESIS}\N{RIGHT-TO-LEFT OVERRIDE}".encode(),
]  # fmt: skip


@st.composite
def mutated(draw: st.DrawFn, samples: list[bytes]) -> bytes:
    """One of the samples, changed at one to eight places."""
    text = bytearray(draw(st.sampled_from(samples)))
    for _ in range(draw(st.integers(1, 8))):
        at = draw(st.integers(0, len(text)))
        to = min(len(text), at + draw(st.integers(0, 40)))
        act = draw(st.sampled_from(["put", "put", "drop", "double", "cut", "flip", "bytes"]))
        if act == "put":
            text[at:to] = draw(st.sampled_from(ODD))
        elif act == "drop":
            del text[at:to]
        elif act == "double":
            text[at:at] = text[at:to] * draw(st.integers(1, 30))
        elif act == "cut":
            del text[at:]
        elif act == "flip" and at < len(text):
            text[at] ^= 1 << draw(st.integers(0, 7))
        else:
            text[at:at] = draw(st.binary(max_size=12))
    return bytes(text)


@st.composite
def packed(draw: st.DrawFn, samples: list[bytes]) -> bytes:
    """The same as a file: plain, packed, or packed and then changed."""
    how = draw(st.sampled_from(["plain", "gz", "zst", "changed gz", "changed zst"]))
    if how == "plain":
        return draw(mutated(samples))
    pack = gzip.compress if "gz" in how else zstandard.ZstdCompressor().compress
    if how.startswith("changed"):
        return draw(mutated([pack(sample) for sample in samples]))
    return pack(draw(mutated(samples)))
