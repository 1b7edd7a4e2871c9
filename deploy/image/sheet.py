"""The image's own secrets, made from one seed: its Wi-Fi, its code, and the sheet that tells them.

    python3 sheet.py SEED SYSTEM SHEET

SEED is a file of chance; the same one gives the same sheet. SYSTEM is the root of the system that
is being made. SHEET.txt and SHEET.html are written. Wants the program qrencode.
"""

import hashlib
import hmac
import html
import os
import subprocess
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
import errand

LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"  # none that could be taken for another
PORT = 8765  # of the pages; assumed
# NetworkManager gives a shared network's own computer this address (its manual, ipv4.method).
ADDRESS = f"http://10.42.0.1:{PORT}/"
LEAST_SEED_BYTES = 16  # 128 bits, common practice, no source


def letters(seed: bytes, purpose: str, count: int) -> str:
    """So many letters that only the seed's owner can know, others for each purpose."""
    drawn = hmac.digest(seed, purpose.encode(), hashlib.sha512)
    # 512 bits over 31^16 (79 bits): no letter is likelier than another by more than 2^-400.
    number, found = int.from_bytes(drawn), ""
    for _ in range(count):
        number, index = divmod(number, len(LETTERS))
        found += LETTERS[index]
    return found


def grouped(text: str) -> str:
    """In fours, as it is read and typed."""
    return "-".join(text[at : at + 4] for at in range(0, len(text), 4))


def qr(text: str, kind: str) -> str:
    """A QR code, as letters for a terminal (UTF8) or as a picture (SVG)."""
    command = ["qrencode", "--type", kind, "--level", "M", "--output", "-", "--", text]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def sheet(name: str, password: str, code: str) -> tuple[str, str]:
    """The sheet as plain text and as a page to print."""
    # The form that phones' cameras know (ZXing's wiki, "Barcode Contents"; from memory).
    wifi = f"WIFI:T:WPA;S:{name};P:{password};;"
    parts = (
        (f"1. Join the boat's Wi-Fi\n   name      {name}\n   password  {password}", wifi),
        (f"2. Open the pages\n   http://keelwatt.local:{PORT}/\n   or {ADDRESS}", ADDRESS),
    )
    last = (
        f"3. The page asks for a code\n   {code}\n\n"
        "Whoever has this sheet can join and change settings: keep it as you keep the boat's key.\n"
        "The Wi-Fi's name and password can be changed on the page; the code stays."
    )
    text = "".join(f"{words}\n\n{qr(content, 'UTF8')}\n" for words, content in parts) + last + "\n"
    pictures = "".join(
        f"<pre>{html.escape(words)}</pre>{qr(content, 'SVG').partition('?>')[2]}"
        for words, content in parts
    )
    head = "<!doctype html><meta charset=utf-8><title>keelwatt</title><style>svg{width:5cm}</style>"
    return text, f"{head}{pictures}<pre>{html.escape(last)}</pre>\n"


def put(path: Path, text: str) -> None:
    """A file that only its owner may read."""
    path.unlink(missing_ok=True)
    with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        file.write(text)


def main(seed_file: Path, system: Path, out: Path) -> None:
    """Writes the network and the code into the system, and the sheet beside."""
    seed = seed_file.read_bytes()
    if len(seed) < LEAST_SEED_BYTES:
        sys.exit(
            f"keelwatt: the seed {seed_file} wants at least {LEAST_SEED_BYTES} bytes of chance"
        )
    name = f"keelwatt-{letters(seed, 'wifi name', 4)}"
    password = grouped(letters(seed, "wifi password", 16))
    code = grouped(letters(seed, "code", 12))
    network = errand.NETWORK.format(name=name, password=password)
    put(system / "etc/NetworkManager/system-connections/keelwatt.nmconnection", network)
    put(system / "var/lib/keelwatt/sheet-code", code + "\n")
    text, page = sheet(name, password, code)
    put(out.with_name(out.name + ".txt"), text)
    put(out.with_name(out.name + ".html"), page)


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:4]))
