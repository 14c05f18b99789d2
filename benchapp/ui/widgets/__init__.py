"""Painted parts that any stage may use; each takes plain values and knows no engine."""
