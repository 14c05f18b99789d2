"""Mutated inputs of every kind: each is taken, or refused in words; nothing hangs, and nothing reaches past a limit."""
