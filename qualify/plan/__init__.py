"""From a testbed and cases to trials: streams, addresses, times, and what they can prove."""
