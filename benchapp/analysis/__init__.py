"""Arithmetic on readings, without input or output: live view, replay and command line call the same code."""
