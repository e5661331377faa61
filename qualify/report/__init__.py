"""From records to the qualification report of a train."""
