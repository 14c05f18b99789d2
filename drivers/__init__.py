"""Instruments: roles, the wire, dialects. Knows nothing of the application above it."""
