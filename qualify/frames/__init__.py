"""From a stream to numbered frames, and from received octets back to numbers."""
