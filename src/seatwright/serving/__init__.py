"""Serving: the local page of a rehearsal, on loopback only."""
