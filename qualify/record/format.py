"""The version of the record format, and how it came to be."""

# 1  First format: run, decision, testbed, images, cases, trials with streams, routes, neighbors
#    and devices. Durations are kept in nanoseconds and written in milliseconds or seconds with
#    as many decimals as they need.
#
# A new key with a default needs no new number; a renamed, dropped or reinterpreted one does, and
# a reader for every number that came before it.
RECORD_FORMAT = 1
