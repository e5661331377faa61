"""Traffic backends: from streams and ports to what was sent and what arrived."""
