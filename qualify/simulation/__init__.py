"""From a simulated testbed to devices that exist only in virtual time and whose truth is known."""
