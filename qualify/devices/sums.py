"""The sum of an image, compared on the device before anything is touched."""

import hashlib
from pathlib import Path

from qualify.errors import ImageRefusedError
from qualify.testbed.image import Image


def check_sum(image: Image, staged: Path, *, dut: str) -> None:
    """Compare the SHA-256 of a staged payload with what the manifest claims.

    Raises:
        ImageRefusedError: they differ.
    """
    found = hashlib.sha256(staged.read_bytes()).hexdigest()
    if found != image.sha256:
        raise ImageRefusedError(
            f"{dut} refused {image.release}: the SHA-256 of its image is {found[:12]}…, "
            f"the manifest says {image.sha256[:12]}…; nothing was touched",
            fix="fetch the image again, or correct sha256 in its manifest",
            where=str(image.file),
        )
