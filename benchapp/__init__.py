"""Measure very small resistances by current reversal, and say how sure the result is."""
