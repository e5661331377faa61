"""Files that are either the old ones or the new ones, whenever the power goes."""

import os
from pathlib import Path


def replace_file(file: Path, text: str) -> None:
    """Write a file whole, or leave the old one as it was; missing folders are made."""
    file.parent.mkdir(parents=True, exist_ok=True)
    unfinished = file.with_name(f".{file.name}.{os.getpid()}")
    try:
        with unfinished.open("w", encoding="utf-8") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        unfinished.replace(file)
    finally:
        unfinished.unlink(missing_ok=True)
