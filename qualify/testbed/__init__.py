"""From files that people write to values: testbeds, cases and software images."""
