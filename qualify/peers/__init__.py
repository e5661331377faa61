"""Routing peers of the device: they originate the routes of a path and see its flaps."""
