"""Chunks of bytes to lines."""

LONGEST = 4096  # bytes without an end of line are noise


class LineSplitter:
    """Keeps the unfinished last line until its end comes."""

    def __init__(self) -> None:
        self._rest = b""

    def feed(self, chunk: bytes) -> list[str]:
        """Whole lines, without their ends; empty ones left out."""
        text = self._rest + chunk
        if b"\n" not in text and b"\r" not in text:
            self._rest = text if len(text) <= LONGEST else b""
            return []
        *lines, self._rest = text.replace(b"\r", b"\n").split(b"\n")
        if len(self._rest) > LONGEST:
            self._rest = b""
        return [line.decode("latin-1") for line in lines if line]
