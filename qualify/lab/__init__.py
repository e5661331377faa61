"""From a virtual testbed to namespaces and cables on this machine, and nothing left afterwards."""
