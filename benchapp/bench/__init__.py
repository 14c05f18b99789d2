"""The instruments of a run: found, opened, set up within the house limits, made safe."""
