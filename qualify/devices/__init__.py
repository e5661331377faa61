"""Drivers: from a device under test to facts, tables and an upgrade."""
