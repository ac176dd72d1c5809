"""The contact strip: eight frames of a simulated night as raw files, developed by the engine, side by side.

Run it with ``python examples/contact_strip.py NEW-FOLDER``; it writes ``contact-strip.jpg`` there.
"""

import sys
from pathlib import Path

from archive.demo.strip import contact_strip


def main(folder: Path) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "contact-strip.jpg"
    path.write_bytes(contact_strip())
    print(f"{path}: {path.stat().st_size // 1000} kB")
    return path


if __name__ == "__main__":
    main(Path(sys.argv[1]))
