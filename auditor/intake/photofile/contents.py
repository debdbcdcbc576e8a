"""What a walk through a picture file finds, before anything is decoded."""

import re
from dataclasses import dataclass, field

from auditor.intake.photofile.window import ByteRange

MAX_PACKET_BYTES = 4 << 20  # the largest XMP packet, or Exif block in memory, that is read
FAR_BYTES = 64  # how far on in a block its TIFF header may stand
_TIFF_HEADER = re.compile(rb"II\*\x00|MM\x00\*")


@dataclass(slots=True)
class Contents:
    """Collected by the walkers as they go, so that a file cut short still gives what came before."""

    container: str  # as in FileRecord
    tiff: ByteRange | None = None  # the TIFF block whose IFD0 leads to the Exif IFD
    exif_ifd: ByteRange | None = None  # a second TIFF block whose IFD0 is the Exif IFD (ISO-BMFF raw)
    tiff_is_picture: bool = False  # whether the block is the file itself: its IFD0 tells the picture's size
    packet: bytes = b""  # XMP
    width: int = 0  # of the picture as stored [px], as height; 0 unknown
    height: int = 0
    notes: list[str] = field(default_factory=list)

    def take_tiff(self, block: ByteRange) -> None:
        """Take an Exif block, whatever stands before its TIFF header."""
        start = tiff_start(block.read(0, FAR_BYTES))
        if start is None:
            self.notes.append("the Exif block has no TIFF header and was not read")
        elif self.tiff is None:
            self.tiff = ByteRange(block.window, block.start + start, block.length - start)
        else:
            self.notes.append("Exif is present twice: the first block counts")

    def take_packet(self, data: bytes) -> None:
        """Take the XMP packet; there should be one only."""
        if self.packet:
            self.notes.append("XMP is present twice: the first packet counts")
        self.packet = self.packet or data


def tiff_start(data: bytes) -> int | None:
    """Find the TIFF header within the first bytes of an Exif block, with or without ``Exif`` before it."""
    match = _TIFF_HEADER.search(data, 0, FAR_BYTES)
    return match.start() if match else None
